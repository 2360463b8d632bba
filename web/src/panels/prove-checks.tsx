// Control by control: each pot, switch and jack tried by hand; and the amp left running.
import { record } from "../facts";
import { useDraft } from "../store";
import type { Check, Part, View } from "../types";
import { Button, Choice, Field, NumberField } from "../ui/controls";
import { Badge } from "../ui/marks";
import { readNumber } from "../units";
import { hours } from "./decide-estimate";
import { stopwatch, useClock, type Clock } from "./repair-clock";

const CONTROLS = ["pot", "switch", "jack"];
const RESULTS: Check["result"][] = ["good", "poor", "not tried"];

/** What a check calls a control: "P1 volume". */
const nameOf = ({ name, what }: Part): string => [name, what].filter(Boolean).join(" ");

export interface Control {
  what: string;
  check: Check | undefined;
}

/** The amp's own controls, then what else was checked. */
export function controls(view: View, parts: Part[]): Control[] {
  const own = parts.filter(({ kind }) => CONTROLS.includes(kind)).map(nameOf);
  const last = new Map(view.checks.map((check) => [check.what, check]));
  const more = [...last.keys()].filter((what) => !own.includes(what));
  return [...own, ...more].map((what) => ({ what, check: last.get(what) }));
}

function keep(view: View, { what, check }: Control, change: Partial<Check>): void {
  const result = change.result ?? check?.result ?? "not tried";
  const note = (change.note ?? check?.note ?? "").trim();
  void record(
    view.job,
    "check",
    { what, result, ...(note && { note }) },
    {
      words: `${what}: ${result}`,
      replaces: check?.fact ?? null,
    },
  );
}

export function Checks({ view, parts }: { view: View; parts: Part[] }) {
  const all = controls(view, parts);
  return (
    <>
      <ul class="checks">
        {all.map((control) => (
          <CheckLine key={control.what} view={view} control={control} />
        ))}
      </ul>
      <OwnCheck view={view} known={all} />
    </>
  );
}

function CheckLine({ view, control }: { view: View; control: Control }) {
  const { what, check } = control;
  const draft = useDraft(`check ${view.job} ${what}`, { note: check?.note ?? "" });
  const keepNote = () => {
    if (!draft.touched) return;
    if (draft.value.note.trim() !== (check?.note ?? "")) keep(view, control, draft.value);
    draft.clear();
  };
  return (
    <li>
      <Choice
        label={what}
        options={RESULTS}
        value={check?.result ?? null}
        onChoose={(result) => keep(view, control, { result })}
      />
      <div onFocusOut={keepNote}>
        <Field
          label={`Note on ${what}`}
          value={draft.value.note}
          onInput={(note) => draft.set({ note })}
          onEnter={keepNote}
        />
      </div>
    </li>
  );
}

function OwnCheck({ view, known }: { view: View; known: Control[] }) {
  const draft = useDraft(`check ${view.job}`, { what: "" });
  const what = draft.value.what.trim();
  const add = () => {
    if (!what || known.some((one) => one.what === what)) return;
    keep(view, { what, check: undefined }, {});
    draft.clear();
  };
  return (
    <Field
      label="Another thing to try"
      value={draft.value.what}
      onInput={(text) => draft.set({ what: text })}
      onEnter={add}
      hint="Foot switch, hum at full volume. Enter puts it on the list"
    />
  );
}

/* ---- soak ------------------------------------------------------------------------------------------------ */

const USUAL = "60"; // minutes: common practice, no source

function LastSoak({ soak }: { soak: View["soak"] }) {
  if (!soak) return <div class="soak-last" />;
  const good = soak.result === "good";
  return (
    <div class="soak-last">
      <Badge shape={good ? "tick" : "hazard"} tone={good ? "accent" : "hazard"}>
        {[`Ran ${hours(soak.minutes)}: ${soak.result}`, soak.note].filter(Boolean).join(", ")}
      </Badge>
    </div>
  );
}

export function Soak({ view }: { view: View }) {
  const clock = useClock(`soak ${view.job}`);
  const draft = useDraft(`soak ${view.job}`, { minutes: USUAL, note: "" });
  const wanted = readNumber(draft.value.minutes);
  const over = wanted.kind === "number" && clock.ms >= wanted.value * 60_000;
  const end = (result: "good" | "poor") => {
    const note = draft.value.note.trim();
    const body = { minutes: clock.minutes, result, ...(note && { note }) };
    void record(view.job, "soak", body, { words: `soak of ${hours(clock.minutes)}: ${result}` });
    clock.clear();
    draft.clear();
  };
  return (
    <div class="soak">
      <LastSoak soak={view.soak} />
      <div class="soak-clock">
        <span class="clock" role="timer" aria-label="Running for">
          {stopwatch(clock.ms)}
        </span>
        <span class="dim" role="status">
          {over ? "The time is over. Look, listen, smell, then say how it was." : ""}
        </span>
      </div>
      <div class="pair">
        <NumberField
          label="To run for"
          unit="min"
          text={draft.value.minutes}
          onInput={(minutes) => draft.set({ minutes })}
          onNumber={clock.start}
          hint="Stay within reach, load connected."
        />
        <Field
          label="What was seen, heard, smelled"
          value={draft.value.note}
          onInput={(note) => draft.set({ note })}
        />
      </div>
      <SoakButtons clock={clock} onEnd={end} />
    </div>
  );
}

function SoakButtons({ clock, onEnd }: { clock: Clock; onEnd: (result: "good" | "poor") => void }) {
  return (
    <div class="row">
      <Button
        kind={clock.running ? "plain" : "main"}
        onClick={clock.running ? clock.stop : clock.start}
      >
        {clock.running ? "Stop the clock" : clock.ms ? "Go on" : "Start"}
      </Button>
      <Button disabled={clock.minutes < 1} shape="tick" onClick={() => onEnd("good")}>
        It was good
      </Button>
      <Button disabled={clock.minutes < 1} shape="hazard" onClick={() => onEnd("poor")}>
        It was poor
      </Button>
    </div>
  );
}
