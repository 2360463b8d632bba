// Find: the suspects in groups, what each predicts beside what was read, and what would settle it.
import "../css/find.css";
import { useState } from "preact/hooks";
import { HandsInside } from "../hands";
import { useResource } from "../store";
import type { History, Suspect, Suspects, View } from "../types";
import { Button, Choice, Link } from "../ui/controls";
import { From, Panel as Frame, Section } from "../ui/frame";
import { Bar } from "../ui/marks";
import { Predictions } from "./find-plot";
import {
  partName,
  percent,
  ranked,
  suspectWords,
  useShopCounts,
  useSuspects,
  VerdictWords,
} from "./find-suspects";
import { GoOn } from "./go-on";
import { useChart } from "./measure";
import type { Panel } from ".";

const SHOWN = 0.01; // suspects below it are shown when asked for

function Find({ view }: { view: View }) {
  const asked = useSuspects(view, "before");
  const chart = useChart(view, "before");
  const { data } = asked;
  return (
    <Frame
      title="Find"
      tools={<GoOn view={view} from="find" ready={data?.verdict === "settled"} />}
    >
      <From of={asked} lines={8}>
        {(found) => (
          <div class="find">
            <div>
              <Verdict data={found} />
              <Groups data={found} />
              <ShopCounts view={view} />
            </div>
            <div>
              <From of={chart} lines={8}>
                {(whole) => <Predictions data={found} chart={whole} />}
              </From>
              <Settle view={view} data={found} />
            </div>
          </div>
        )}
      </From>
    </Frame>
  );
}

function Verdict({ data }: { data: Suspects }) {
  return (
    <div class="find-verdict">
      <p class="find-word">
        <VerdictWords of={data} />
      </p>
      <p class="find-reason">{data.reason}</p>
      {!data.trusted && (
        <p class="dim">A tube works outside its published figures: trust this less.</p>
      )}
    </div>
  );
}

/* ---- groups ---------------------------------------------------------------------------------------- */

function Groups({ data }: { data: Suspects }) {
  const [all, setAll] = useState(false);
  const least = all ? 0 : SHOWN;
  const lines = ranked(data);
  const groups = data.groups
    .map((group, at) => ({
      ...group,
      at,
      suspects: lines.filter((one) => one.group === at && one.probability >= least),
    }))
    .filter(({ suspects }) => suspects.length);
  // Another order of suspects is another list: it is drawn anew, and nothing slides under the eye.
  const order = lines
    .filter(({ probability }) => probability >= SHOWN)
    .map((one) => `${one.group} ${partName(one)} ${suspectWords(one)}`)
    .join("|");
  return (
    <>
      <ol class="groups" key={order}>
        {groups.map(({ at, probability, members, pairs, suspects }) => (
          <li key={at} class="group">
            {members + pairs > 1 && (
              <p class="group-head">
                <span>
                  Readings cannot tell these apart
                  {pairs > 0 &&
                    (members ? "; some are two faults at once" : ": two faults at once")}
                </span>
                <span>{percent(probability)}</span>
              </p>
            )}
            <ul>
              {suspects.map((suspect) => (
                <Line key={`${suspect.part} ${suspect.what}`} suspect={suspect} />
              ))}
            </ul>
          </li>
        ))}
      </ol>
      <Button key={`${order} all`} onClick={() => setAll(!all)}>
        {all ? "Only those of 1 % and more" : `All ${lines.length} suspects`}
      </Button>
    </>
  );
}

function Line({ suspect }: { suspect: Suspect }) {
  return (
    <li class="find-line">
      <span class="find-part">{partName(suspect)}</span>
      <span>{suspectWords(suspect)}</span>
      <Bar share={suspect.probability}>{percent(suspect.probability)}</Bar>
    </li>
  );
}

/* ---- what would settle it ---------------------------------------------------------------------------- */

function Settle({ view, data }: { view: View; data: Suspects }) {
  const next = [...data.next.slice(0, 1), ...data.tests.slice(0, 3)];
  const tells = data.groups
    .filter(({ tell, probability }) => tell && probability >= SHOWN)
    .slice(0, 3);
  return (
    <Section title="What would settle it">
      {next.map((one, at) => (
        <p key={one.at} class="settle-next">
          {at ? "Or" : "Next"}: <strong>{one.at}</strong>, {one.quantity}. {one.why}{" "}
          {one.caution && <span class="dim">{one.caution} </span>}
          {!at && <Link to={`jobs/${view.job}/measure`}>Take it</Link>}
        </p>
      ))}
      {!next.length && !tells.length && <p class="dim">Nothing more to be told by readings.</p>}
      {tells.length > 0 && (
        <HandsInside view={view} does="read what would tell them apart">
          <ul class="tells">
            {tells.map(({ tell }) => (
              <li key={tell}>{tell}</li>
            ))}
          </ul>
        </HandsInside>
      )}
    </Section>
  );
}

/* ---- what this shop has seen --------------------------------------------------------------------------- */

function ShopCounts({ view }: { view: View }) {
  const history = useResource<History>(
    `/api/history?amp=${encodeURIComponent(view.amp.name)}&same=1`,
  );
  const counts = useShopCounts();
  return (
    <Section title="This shop’s past repairs">
      <From of={history} lines={2}>
        {({ alike, causes }) =>
          alike ? (
            <>
              <p>Of {alike} like this:</p>
              <ul class="causes">
                {causes.slice(0, 4).map(({ part, what, count }) => (
                  <li key={`${part} ${what}`}>
                    <span>
                      <strong>{part}</strong> {what}
                    </span>
                    <Bar share={count / alike}>{count}</Bar>
                  </li>
                ))}
              </ul>
              <Choice
                label="Let these counts move the suspects"
                value={counts.value.used ? "yes" : "no"}
                onChoose={(word) => counts.set({ used: word === "yes" })}
                options={[
                  { value: "no", words: "No" },
                  { value: "yes", words: "Yes" },
                ]}
              />
            </>
          ) : (
            <p class="dim">None of this amp yet. Each job that is handed back counts.</p>
          )
        }
      </From>
    </Section>
  );
}

export const find: Panel = {
  id: "find",
  stage: "find",
  title: "Find",
  key: "5",
  view: Find,
};
