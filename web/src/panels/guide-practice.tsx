// The practice bench: the amp on the drawing. A click puts the probe there; nothing here is lethal,
// the habits are the real ones.
import { useState } from "preact/hooks";
import { judge, practice, practise } from "../meter";
import type { Chart, Part, Practice, View } from "../types";
import { Button, Field } from "../ui/controls";
import { Section } from "../ui/frame";
import { Badge } from "../ui/marks";
import { bases, Socket } from "./measure-socket";

export interface BoardProps {
  view: View;
  chart: Chart | null;
  parts: Part[];
}

export function PracticeBoard({ view, chart, parts }: BoardProps) {
  const now = practice.value;
  if (!now?.here) return null;
  const probe = (at: string | null) => void practise({ probe: at });
  return (
    <Section title="The practice amp" class="board" aside={<State now={now} />}>
      <div class="row">
        <Button pressed={now.clipped} onClick={() => void practise({ drain: !now.clipped })}>
          Drain resistor {now.clipped ? "on" : "off"}
        </Button>
        <Button disabled={!now.at} onClick={() => probe(null)}>
          Lift the probe
        </Button>
        {view.drained.capacitors.map(({ part, node }) => (
          <Button key={part} pressed={now.at === part} onClick={() => probe(part)}>
            {part}, {node}
          </Button>
        ))}
      </div>
      {chart && <Sockets chart={chart} at={now.at} onProbe={probe} />}
      <Other parts={parts} chart={chart} onProbe={probe} />
      <Score now={now} />
    </Section>
  );
}

const State = ({ now }: { now: Practice }) => (
  <span role="status">
    {now.on ? (
      <Badge shape="bolt" tone="hazard">
        switched on
      </Badge>
    ) : (
      <Badge shape="ring">switched off</Badge>
    )}
    , {now.at ? `probe on ${now.at}` : "probe lifted"}
  </span>
);

interface SocketsProps {
  chart: Chart;
  at: string | null;
  onProbe: (at: string) => void;
}

function Sockets({ chart, at, onProbe }: SocketsProps) {
  const known = bases(chart.lines);
  const nodes = chart.lines.filter(({ what }) => what === "supply").map((line) => line.at);
  return (
    <>
      <ul class="board-sockets">
        {[...known.values()].map((base) => (
          <li key={base.tube}>
            <Socket
              base={base}
              pin={at?.startsWith(`${base.tube}.`) ? Number(at.split(".")[1]) : 0}
              onPin={onProbe}
            />
            <span>{base.tube}</span>
          </li>
        ))}
      </ul>
      <div class="row">
        {nodes.map((node) => (
          <Button key={node} pressed={at === node} onClick={() => onProbe(node)}>
            {node}
          </Button>
        ))}
      </div>
    </>
  );
}

function Other({
  parts,
  chart,
  onProbe,
}: Omit<BoardProps, "view"> & { onProbe: (at: string) => void }) {
  const [place, setPlace] = useState("");
  const [part, setPart] = useState("");
  const put = () => {
    void practise({ replace: part.trim() });
    setPart("");
  };
  return (
    <div class="pair">
      <Field
        label="Probe anywhere else"
        value={place}
        list={chart?.lines.map(({ at }) => at)}
        onInput={setPlace}
        onEnter={() => onProbe(place.trim())}
        hint="R7, V5.4-B2: Enter puts it there"
      />
      <Field
        label="Put in a good part"
        value={part}
        list={parts.map(({ name }) => name)}
        onInput={setPart}
        onEnter={put}
        hint="Unplugged and drained, as in life: Enter replaces it"
      />
    </div>
  );
}

function Score({ now }: { now: Practice }) {
  const { score } = now;
  return (
    <>
      {now.replaced.map(({ part, was_it }) => (
        <p key={part}>
          <Badge shape={was_it ? "tick" : "dash"} tone={was_it ? "accent" : "plain"}>
            {part} replaced{was_it ? ": that was it" : ", and it was good"}
          </Badge>
        </p>
      ))}
      {now.risky.map((risk) => (
        <p key={risk}>
          <Badge shape="hazard" tone="hazard">
            {risk}
          </Badge>
        </p>
      ))}
      {score ? (
        <div class="board-score" role="status">
          {score.faults.map(({ part, what, found }) => (
            <p key={part}>
              Hidden was <strong>{part}</strong> {what}
              {found ? ", found" : ", not found"}.
            </p>
          ))}
          <p>
            {score.readings} readings
            {score.fewest === null ? "" : `; ${score.fewest} would have done`}. Wrong parts:{" "}
            {now.wrong}. Risky steps: {now.risky.length}.
          </p>
        </div>
      ) : (
        <div class="foot">
          <Button onClick={() => void judge()}>
            {now.over ? "How well was it done?" : "Give up, and be told"}
          </Button>
        </div>
      )}
    </>
  );
}
