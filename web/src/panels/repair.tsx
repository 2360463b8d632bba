// Repair: the work list, the time, and what the repair changed in the amp.
import "../css/repair.css";
import { HandsInside } from "../hands";
import { useKeys } from "../keys";
import { useResource } from "../store";
import type { Difference, JobAmp, View } from "../types";
import { Button, Link } from "../ui/controls";
import { From, Panel as Frame, Section } from "../ui/frame";
import { hours } from "./decide-estimate";
import { GoOn } from "./go-on";
import { stopwatch, useClock, type Clock } from "./repair-clock";
import { OwnLine, Proposals, WorkList } from "./repair-list";
import type { Panel } from ".";

function Repair({ view }: { view: View }) {
  const amp = useResource<JobAmp>(`/api/jobs/${view.job}/amp?as=repaired`);
  const clock = useClock(`work ${view.job}`);
  const done = view.work.length > 0 && view.work.every((work) => work.done);
  return (
    <Frame title="Repair" tools={<GoOn view={view} from="repair" ready={done} />}>
      <HandsInside view={view} does="look at the list">
        <div class="repair">
          <div>
            <From of={amp} lines={6}>
              {({ parts }) => (
                <>
                  <Proposals view={view} parts={parts} />
                  <WorkList view={view} parts={parts} clock={clock} />
                  <OwnLine view={view} parts={parts} />
                </>
              )}
            </From>
          </div>
          <div class="repair-side">
            <Time view={view} clock={clock} />
            <Changed view={view} />
            <Bag view={view} />
            <p class="dim">
              On paper: <Link to={`jobs/${view.job}/decide`}>try a change</Link>, or see the{" "}
              <Link to={`jobs/${view.job}/prove`}>ratings as repaired</Link>.
            </p>
          </div>
        </div>
      </HandsInside>
    </Frame>
  );
}

function Time({ view, clock }: { view: View; clock: Clock }) {
  const turn = () => (clock.running ? clock.stop() : clock.start());
  useKeys("Repair", [
    { key: "t", does: clock.running ? "stop the clock" : "start the clock", run: turn },
  ]);
  return (
    <Section title="Time">
      <p class="clock" role="timer" aria-label="Since the last tick">
        {stopwatch(clock.ms)}
      </p>
      <p class="dim">
        {clock.running ? "Goes to the next line that is ticked." : "Stopped."} Kept so far:{" "}
        {hours(view.minutes)}.
      </p>
      <div class="row">
        <Button kind={clock.running ? "plain" : "main"} onClick={turn}>
          {clock.running ? "Stop" : clock.ms ? "Go on" : "Start"}
        </Button>
        <Button kind="quiet" disabled={!clock.ms} onClick={clock.clear}>
          Back to nought
        </Button>
      </div>
    </Section>
  );
}

function Changed({ view }: { view: View }) {
  const found = useResource<Difference[]>(
    `/api/jobs/${view.job}/differences?from=found&to=repaired`,
  );
  return (
    <Section title="Changed by the repair">
      <From of={found}>
        {(rows) =>
          rows.length ? (
            <ul class="differences">
              {rows.map(({ part, key, from, to, does }) => (
                <li key={`${part} ${key} ${does}`}>
                  <strong>{part}</strong>{" "}
                  {does === "change" ? `${key ?? ""} ${from ?? ""} to ${to ?? ""}` : `${does}ed`}
                </li>
              ))}
            </ul>
          ) : (
            <p class="dim">
              The amp is as it was found. A part of another value or type: “Change” at its line.
            </p>
          )
        }
      </From>
    </Section>
  );
}

function Bag({ view }: { view: View }) {
  const parts = view.decisions.filter(({ action, bag }) => action === "replace" && bag);
  return (
    <Section title="In the bag for the owner">
      {parts.length ? (
        <p>{parts.map(({ part }) => part).join(", ")}</p>
      ) : (
        <p class="dim">No old part so far.</p>
      )}
    </Section>
  );
}

export const repair: Panel = {
  id: "repair",
  stage: "repair",
  title: "Repair",
  key: "7",
  view: Repair,
};
