// The filter capacitors: the one in hand, what it stores, its reading; and the list of all.
import { useRef, useState } from "preact/hooks";
import { record, waiting } from "../facts";
import { lead, watching, wired } from "../meter";
import { usePedal } from "../pedal";
import { useDraft } from "../store";
import type { DrainedCapacitor, Safety, View } from "../types";
import { Button, Field, NumberField } from "../ui/controls";
import { Table } from "../ui/frame";
import { Badge } from "../ui/marks";
import { quantity, readNumber, seconds, volts, when } from "../units";
import { GoOn } from "./go-on";
import { Hold } from "./hold";
import { DrainWatch, WireButton } from "./live-panels";

const LIMIT_V = 60; // ES1 limit of IEC 62368-1, DC

/** Read since the last power-up? Older readings say nothing about now. */
const current = (one: DrainedCapacitor, view: View): boolean =>
  one.at !== null && (view.powered.at === null || one.at > view.powered.at);

interface Props {
  view: View;
  plan: Safety;
}

const useChosen = (view: View) => useDraft(`drain at ${view.job}`, { part: "" });

export function Station({ view, plan }: Props) {
  const chosen = useChosen(view);
  const capacitors = view.drained.capacitors;
  const left = capacitors.find((each) => !each.below_60);
  const watch = watching(view);
  const named = watch?.at ?? chosen.value.part;
  const one = capacitors.find(({ part }) => part === named) ?? left;
  const next = capacitors.find((each) => !each.below_60 && each !== one);
  if (!capacitors.length) return <OtherPlace view={view} />;
  if (!one) return <AllLow view={view} onAgain={() => chosen.set({ part: capacitors[0]!.part })} />;
  const facts = plan.capacitors.find(({ part }) => part === one.part);
  return (
    <section class="station" aria-label="The capacitor in hand">
      <Which view={view} one={one} onPick={(part) => chosen.set({ part })} />
      <Stored facts={facts} ohms={plan.through_ohms} />
      <p class="dim stays">{facts && stays(facts)}</p>
      {watch ? (
        <DrainWatch view={view} watch={watch} ohms={plan.through_ohms} next={next} />
      ) : (
        <div class="station-work">
          <Hold key={one.part} seconds={Math.ceil(plan.hold_s)} />
          <DrainField
            key={`field ${one.part}`}
            view={view}
            one={one}
            from={whereTo(view, one, facts?.other)}
            ohms={plan.through_ohms}
            onDone={() => chosen.set({ part: "" })}
          />
        </div>
      )}
      {!watch && <OnTheMeter view={view} one={one} ohms={plan.through_ohms} />}
    </section>
  );
}

/** The drain watch, where a meter is on a wire; the pedal starts it too. */
function OnTheMeter({ view, one, ohms }: { view: View; one: DrainedCapacitor; ohms: number }) {
  const start = () => void lead(view.job, { lead: "drain", at: one.part, through: ohms });
  usePedal({ take: wired() && start });
  return (
    <div class="row on-the-meter">
      {wired() && <Button onClick={start}>Watch {one.part} on the meter</Button>}
      <WireButton />
    </div>
  );
}

function AllLow({ view, onAgain }: { view: View; onAgain: () => void }) {
  const highest = Math.max(...view.drained.capacitors.map((one) => Math.abs(one.volts ?? 0)));
  return (
    <section class="station all-low" aria-label="All filter capacitors read">
      <p class="station-head">
        <Badge shape="dot" tone="accent">
          Each one read below 60 V; the highest {volts(highest)} V
        </Badge>
      </p>
      <p>
        Read once more before your hands go in: an electrolytic creeps back up. After every
        switch-on, drain and read again.
      </p>
      <div class="row">
        <GoOn view={view} from="make safe" ready />
        <Button onClick={onAgain}>Read again</Button>
      </div>
    </section>
  );
}

interface WhichProps {
  view: View;
  one: DrainedCapacitor;
  onPick: (part: string) => void;
}

function Which({ view, one, onPick }: WhichProps) {
  const all = view.drained.capacitors;
  const at = all.indexOf(one);
  const done = all.filter((each) => each.below_60).length;
  const step = (by: number) => all[at + by] && onPick(all[at + by]!.part);
  return (
    <div class="station-which">
      <h2 class="station-part">{one.part}</h2>
      <span class="station-node">at {one.node}</span>
      <span class="dim">
        {one.value}
        {one.rating ? `, ${one.rating} V` : ""}
      </span>
      <span class="station-count">
        {done} of {all.length} below 60 V
      </span>
      <span class="station-step">
        <Button
          kind="quiet"
          label="The capacitor before"
          disabled={at === 0}
          onClick={() => step(-1)}
        >
          {"\u2190"}
        </Button>
        <Button
          kind="quiet"
          label="The next capacitor"
          disabled={at === all.length - 1}
          onClick={() => step(1)}
        >
          {"\u2192"}
        </Button>
      </span>
    </div>
  );
}

function Stored({
  facts,
  ohms,
}: {
  facts: Safety["capacitors"][number] | undefined;
  ohms: number;
}) {
  const rows: [string, string][] = [
    ["Charged", `${volts(facts?.volts)} V`],
    ["Stores", quantity(facts?.joules, "J")],
    ["To 60 V", seconds(facts?.seconds_to_60)],
    ["To 1 V", seconds(facts?.seconds_to_1)],
    [`Into ${quantity(ohms, "ohm")}`, `${quantity(facts?.peak_watts, "W")} at first`],
  ];
  return (
    <dl class="facts">
      {rows.map(([name, value]) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}

/** What the resistor on this one alone does not do. */
function stays({ part, self_60_s, back_v, left }: Safety["capacitors"][number]): string {
  const alone = self_60_s === null ? "more than a day" : seconds(self_60_s);
  return [
    `By itself it takes ${alone} to 60 V.`,
    back_v ? `It may win back ${volts(back_v)} V.` : "",
    left?.length ? `With the resistor on ${part} alone, ${left.join(", ")} stay above 60 V.` : "",
  ]
    .filter(Boolean)
    .join(" ");
}

/** The black lead goes to the chassis, where the chassis is the common negative. */
function whereTo(view: View, one: DrainedCapacitor, other = "ground"): string {
  if (other !== "ground") return `across ${one.part}, from ${one.node} to ${other}`;
  const negative = view.amp.transformerless ? "the common negative" : "the chassis";
  return `from ${one.part} to ${negative}`;
}

interface DrainProps {
  view: View;
  one: DrainedCapacitor;
  from: string; // where the two leads go, in words
  ohms: number;
  onDone: () => void;
}

function DrainField({ view, one, from, ohms, onDone }: DrainProps) {
  const draft = useDraft(`drain ${view.job} ${one.part}`, { text: "" });
  const field = useRef<HTMLInputElement>(null);
  const [still, setStill] = useState<number | null>(null);
  const typed = readNumber(draft.value.text);
  const unsaved = waiting.value.find((fact) => fact.job === view.job && fact.body.at === one.part);
  const take = (read: number) => {
    const charged = Math.abs(read) >= LIMIT_V;
    draft.clear();
    setStill(charged ? read : null);
    field.current?.focus();
    keepReading(view, one, read, ohms);
    if (!charged) onDone();
  };
  return (
    <div class="drain-field">
      <NumberField
        big
        label={`Read ${from}`}
        unit="V"
        text={draft.value.text}
        inputRef={field}
        onInput={(text) => draft.set({ text })}
        onNumber={take}
        hint={drainHint(still, unsaved?.words)}
      />
      <Button
        kind="main"
        disabled={typed.kind !== "number"}
        onClick={() => typed.kind === "number" && take(typed.value)}
      >
        Record
      </Button>
    </div>
  );
}

function drainHint(still: number | null, unsaved: string | undefined): string {
  if (still !== null) return `Still ${volts(still)} V: resistor on again, then read.`;
  return unsaved ? `Not saved yet: ${unsaved}` : "Enter records it";
}

function keepReading(view: View, one: DrainedCapacitor, read: number, ohms: number): void {
  const words = `${one.part} ${volts(read)} V`;
  void record(view.job, "drain", { at: one.part, volts: read, through: ohms }, { words });
}

/** Without a drawing, or beside it: any place that the technician names. */
export function OtherPlace({ view }: { view: View }) {
  const draft = useDraft(`drain other ${view.job}`, { at: "", text: "" });
  const { at, text } = draft.value;
  const typed = readNumber(text);
  const take = (read: number) => {
    if (!at.trim()) return;
    draft.clear();
    const words = `${at.trim()} ${volts(read)} V`;
    void record(view.job, "drain", { at: at.trim(), volts: read }, { words });
  };
  return (
    <section class="station" aria-label="A filter capacitor by its place">
      <p class="station-head">
        {view.amp.drawn
          ? "The drawing names no filter capacitor"
          : "No drawing names the filter capacitors"}
      </p>
      <p>Look for them in the amp, drain each through a resistor, and read it.</p>
      <div class="pair">
        <Field
          label="Capacitor or node"
          hint="As it will be drawn: C8, B1"
          value={at}
          onInput={(words) => draft.set({ at: words })}
        />
        <NumberField
          label="Read"
          unit="V"
          text={text}
          onInput={(words) => draft.set({ text: words })}
          onNumber={take}
        />
      </div>
      <Button
        kind="main"
        disabled={typed.kind !== "number" || !at.trim()}
        onClick={() => typed.kind === "number" && take(typed.value)}
      >
        Record
      </Button>
    </section>
  );
}

/* ---- all of them ----------------------------------------------------------------------------- */

function LastRead({ one, view }: { one: DrainedCapacitor; view: View }) {
  if (one.volts === null)
    return (
      <Badge shape="question" tone="hazard">
        not read
      </Badge>
    );
  const read = `${volts(one.volts)} V`;
  if (!current(one, view))
    return (
      <Badge shape="hazard" tone="hazard">
        {read}, but switched on since
      </Badge>
    );
  return (
    <Badge shape={one.below_60 ? "dot" : "up"} tone={one.below_60 ? "accent" : "hazard"}>
      {read} at {when(one.at!)}
      {one.below_60 ? "" : ", charged"}
    </Badge>
  );
}

export function Capacitors({ view, plan }: Props) {
  const chosen = useChosen(view);
  const facts = (one: DrainedCapacitor) => plan.capacitors.find(({ part }) => part === one.part);
  const pick = (one: DrainedCapacitor) => (
    <Button kind="quiet" label={`Read ${one.part}`} onClick={() => chosen.set({ part: one.part })}>
      {one.part}
    </Button>
  );
  return (
    <Table
      caption="Filter capacitors"
      rows={view.drained.capacitors}
      rowKey={({ part }) => part}
      empty="No filter capacitor on the drawing."
      columns={[
        { title: "Capacitor", cell: pick },
        { title: "At", cell: ({ node }) => node },
        { title: "Value", cell: ({ value }) => value },
        {
          title: "Charged",
          kind: "number",
          cell: (one) => `${volts(facts(one)?.volts ?? one.expected_volts)} V`,
        },
        { title: "Stores", kind: "number", cell: (one) => quantity(facts(one)?.joules, "J") },
        { title: "Last read", kind: "wide", cell: (one) => <LastRead one={one} view={view} /> },
      ]}
    />
  );
}
