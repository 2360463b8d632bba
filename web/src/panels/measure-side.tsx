// Beside the readings: the suspects as they move, the next reading, and the last ones.
import type { Chart, Phase, Reading, View } from "../types";
import { Button, Link } from "../ui/controls";
import { Problem } from "../ui/frame";
import { volts, when } from "../units";
import { SuspectList, VerdictWords, type Asked } from "./find-suspects";
import { VerdictMark } from "./measure-chart";

interface Props {
  view: View;
  asked: Asked;
  phase: Phase;
  chart: Chart | null;
  onProbe?: (at: string) => void; // shows the place big; not given where it is shown already
}

export function MeasureSide({ view, asked, phase, chart, onProbe }: Props) {
  const { data, faults, thinking } = asked;
  return (
    <aside class="measure-side" aria-label="Suspects and readings">
      <div class="side-head">
        <h2>Suspects</h2>
        {phase === "before" && <Link to={`jobs/${view.job}/find`}>All of them</Link>}
      </div>
      <div class="side-verdict" role="status">
        {data && <VerdictWords of={data} />}
        <span class={`thinker${thinking ? " on" : ""}`} aria-hidden="true" />
      </div>
      <Problem faults={faults} />
      <p class="side-reason">{data?.reason}</p>
      <SuspectList asked={asked} />
      {onProbe && <Next asked={asked} onProbe={onProbe} />}
      <Last view={view} phase={phase} chart={chart} />
    </aside>
  );
}

function Next({ asked, onProbe }: { asked: Asked; onProbe: (at: string) => void }) {
  const next = asked.data?.next[0];
  return (
    <section class="side-next">
      <h2>Read next</h2>
      {next ? (
        <>
          <Button kind="quiet" onClick={() => onProbe(next.at)}>
            {next.at}, {next.quantity}
          </Button>
          <p class="side-why">{next.why}</p>
        </>
      ) : (
        <p class="side-why">
          {asked.data && "No reading would tell more. The rest of the chart, in order."}
        </p>
      )}
    </section>
  );
}

const KEPT = 3;

/** The newest readings; each is put right by typing over it in the chart. */
function Last({ view, phase, chart }: Pick<Props, "view" | "phase" | "chart">) {
  const last = [...view.readings[phase]].sort((a, b) => b.fact - a.fact).slice(0, KEPT);
  return (
    <section class="side-last">
      <h2>Last readings</h2>
      <ul>
        {last.map((reading, at) => (
          <li key={at}>
            <LastLine key={reading.fact} reading={reading} chart={chart} />
          </li>
        ))}
        {!last.length && <li class="dim">None yet.</li>}
      </ul>
    </section>
  );
}

function LastLine({ reading, chart }: { reading: Reading; chart: Chart | null }) {
  const line = chart?.lines.find(({ at }) => at === reading.at);
  return (
    <>
      <span class="last-at">{reading.at}</span>
      <span class="last-volts">{volts(reading.volts)} V</span>
      <span>
        <VerdictMark verdict={line?.read === reading.volts ? line.verdict : ""} />
      </span>
      <span class="last-when dim">{reading.when ? when(reading.when) : ""}</span>
    </>
  );
}
