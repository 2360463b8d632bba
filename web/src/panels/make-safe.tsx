// Make safe: the plug out, each filter capacitor emptied and then read, one at a time.
import { useRef, useState } from "preact/hooks";
import { record } from "../api";
import { drained } from "../drained";
import { useKeys } from "../keys";
import { say, useDraft, useResource } from "../store";
import type { DrainedCapacitor, Fact, Safety, View } from "../types";
import { Button, Choice, NumberField } from "../ui/controls";
import { From, Panel as Frame, Problem, Section, Table } from "../ui/frame";
import { Badge, Mark } from "../ui/marks";
import { quantity, readNumber, seconds, volts, when } from "../units";
import { Hold } from "./hold";
import type { Panel } from ".";

const LIMIT_V = 60; // ES1 limit of IEC 62368-1, DC

/** Read since the last power-up? Older readings say nothing about now. */
const current = (one: DrainedCapacitor, view: View): boolean =>
  one.volts !== null && one.at !== null && (view.powered.at === null || one.at > view.powered.at);

const low = (one: DrainedCapacitor, view: View): boolean =>
  current(one, view) && Math.abs(one.volts!) < LIMIT_V;

function MakeSafe({ view }: { view: View }) {
  const safety = useResource<Safety>(`/api/jobs/${view.job}/safety`);
  const state = drained(view);
  return (
    <Frame
      title="Make safe"
      lead="Only the meter says that a capacitor is empty."
      tools={<Power view={view} />}
    >
      <From of={safety} lines={8}>
        {(plan) => (
          <>
            {plan.warning && <Problem faults={[{ code: "suspicious", cause: plan.warning }]} />}
            <div class="make-safe">
              <div>
                {state.on ? <SwitchedOn view={view} /> : <Station view={view} plan={plan} />}
                <Capacitors view={view} plan={plan} />
              </div>
              <div>
                <Section title="The way">
                  <ol class="way">
                    {plan.steps.map((step) => (
                      <li key={step}>{step}</li>
                    ))}
                  </ol>
                </Section>
              </div>
            </div>
          </>
        )}
      </From>
      <History view={view} />
    </Frame>
  );
}

/* ---- on and off ------------------------------------------------------------------------------------- */

function setPower(view: View, on: boolean, mains?: number): void {
  const body = mains === undefined ? { on } : { on, mains };
  const words = on ? "switched on" : "switched off and unplugged";
  void record(view.job, "power", body, { words }).then(({ fact }) =>
    say(`Recorded: ${words}.`, { undo: { job: view.job, fact } }),
  );
}

function Power({ view }: { view: View }) {
  const { on } = drained(view);
  const choose = (value: "off" | "on") => {
    if ((value === "on") !== on || (value === "off" && !view.powered.ever))
      setPower(view, value === "on");
  };
  useKeys("Make safe", [
    {
      key: "o",
      does: on ? "switched off and unplugged" : "switched on",
      run: () => setPower(view, !on),
    },
  ]);
  return (
    <Choice
      label="The amp is"
      value={on ? "on" : view.powered.ever ? "off" : null}
      onChoose={choose}
      options={[
        { value: "off", words: "Off, plug out" },
        { value: "on", words: "Switched on", shape: "bolt" },
      ]}
    />
  );
}

function SwitchedOn({ view }: { view: View }) {
  const draft = useDraft(`mains ${view.job}`, { text: "" });
  return (
    <div class="station on">
      <p class="station-head">
        <Mark shape="bolt" /> It is switched on
      </p>
      <p>Hands out. Switch it off, pull the plug and put it where you can see it. Then drain.</p>
      <div class="row">
        <Button kind="main" onClick={() => setPower(view, false)}>
          Switched off, plug out
        </Button>
        <NumberField
          label="Mains, if you read it"
          unit="V"
          text={draft.value.text}
          onInput={(text) => draft.set({ text })}
          onNumber={(mains) => {
            draft.clear();
            setPower(view, true, mains);
          }}
        />
      </div>
    </div>
  );
}

/* ---- one capacitor at a time --------------------------------------------------------------------------- */

function Station({ view, plan }: { view: View; plan: Safety }) {
  const chosen = useDraft(`drain at ${view.job}`, { part: "" });
  const capacitors = view.drained.capacitors;
  const one =
    capacitors.find(({ part }) => part === chosen.value.part) ??
    capacitors.find((each) => !low(each, view)) ??
    capacitors[0];
  if (!one)
    return (
      <p class="empty">
        This amp has no filter capacitor on its drawing. Measure at the rectifier all the same.
      </p>
    );
  const at = capacitors.indexOf(one);
  const facts = plan.capacitors.find(({ part }) => part === one.part);
  const done = capacitors.filter((each) => low(each, view)).length;
  return (
    <section class="station" aria-label="The capacitor in hand">
      <div class="station-which">
        <span class="station-part">{one.part}</span>
        <span class="station-node">{one.node}</span>
        <span class="dim">
          {one.value}
          {one.rating ? `, ${one.rating} V` : ""}
        </span>
        <span class="station-count">
          {done} of {capacitors.length} read below 60 V
        </span>
      </div>
      {facts && <Stored facts={facts} ohms={plan.through_ohms} />}
      <div class="station-work">
        <Hold key={one.part} seconds={Math.max(5, Math.ceil(facts?.seconds_to_1 ?? 5))} />
        <DrainField
          key={`f${one.part}`}
          view={view}
          one={one}
          ohms={plan.through_ohms}
          onDone={() => chosen.set({ part: "" })}
        />
      </div>
      <div class="row">
        <Button
          kind="quiet"
          disabled={at === 0}
          onClick={() => chosen.set({ part: capacitors[at - 1]!.part })}
        >
          Back
        </Button>
        <Button
          kind="quiet"
          disabled={at === capacitors.length - 1}
          onClick={() => chosen.set({ part: capacitors[at + 1]!.part })}
        >
          Next one
        </Button>
      </div>
    </section>
  );
}

function Stored({ facts, ohms }: { facts: Safety["capacitors"][number]; ohms: number }) {
  return (
    <dl class="facts">
      <div>
        <dt>Charged, it stands at</dt>
        <dd>{volts(facts.volts)} V</dd>
      </div>
      <div>
        <dt>It then stores</dt>
        <dd>{quantity(facts.joules, "J")}</dd>
      </div>
      <div>
        <dt>{`Below 60 V, ${quantity(ohms, "ohm")}`}</dt>
        <dd>{seconds(facts.seconds_to_60)}</dd>
      </div>
      <div>
        <dt>Below 1 V</dt>
        <dd>{seconds(facts.seconds_to_1)}</dd>
      </div>
      <div>
        <dt>The resistor takes</dt>
        <dd>{quantity(facts.peak_watts, "W")}</dd>
      </div>
    </dl>
  );
}

interface DrainProps {
  view: View;
  one: DrainedCapacitor;
  ohms: number;
  onDone: () => void;
}

function DrainField({ view, one, ohms, onDone }: DrainProps) {
  const draft = useDraft(`drain ${view.job} ${one.part}`, { text: "" });
  const field = useRef<HTMLInputElement>(null);
  const typed = readNumber(draft.value.text);
  const [still, setStill] = useState<number | null>(null);
  const take = (read: number) => {
    draft.clear();
    const charged = Math.abs(read) >= LIMIT_V;
    setStill(charged ? read : null);
    if (!charged) onDone();
    field.current?.focus();
    void record(
      view.job,
      "drain",
      { at: one.part, volts: read, through: ohms },
      { words: `${one.part} ${volts(read)} V` },
    ).then(({ fact }) =>
      say(`${one.part}: ${volts(read)} V recorded.`, { undo: { job: view.job, fact } }),
    );
  };
  return (
    <div class="drain-field">
      <NumberField
        big
        label={`Read at ${one.part}, to the chassis`}
        unit="V"
        text={draft.value.text}
        inputRef={field}
        onInput={(text) => draft.set({ text })}
        onNumber={take}
        hint={
          still === null
            ? "Enter records it"
            : `Still ${volts(still)} V. Resistor on again, then read again.`
        }
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

/* ---- all of them, and what was recorded ------------------------------------------------------------------ */

function Reading({ one, view }: { one: DrainedCapacitor; view: View }) {
  if (one.volts === null)
    return (
      <Badge shape="question" tone="hazard">
        not read
      </Badge>
    );
  if (!current(one, view))
    return (
      <Badge shape="hazard" tone="hazard">
        {volts(one.volts)} V, on since
      </Badge>
    );
  return low(one, view) ? (
    <Badge shape="dot" tone="accent">
      {volts(one.volts)} V at {when(one.at!)}
    </Badge>
  ) : (
    <Badge shape="up" tone="hazard">
      {volts(one.volts)} V, charged
    </Badge>
  );
}

function Capacitors({ view, plan }: { view: View; plan: Safety }) {
  const chosen = useDraft(`drain at ${view.job}`, { part: "" });
  const facts = (one: DrainedCapacitor) => plan.capacitors.find(({ part }) => part === one.part);
  return (
    <Table
      caption="Filter capacitors"
      rows={view.drained.capacitors}
      rowKey={({ part }) => part}
      empty="No filter capacitor on the drawing."
      columns={[
        {
          title: "Capacitor",
          cell: (one) => (
            <Button
              kind="quiet"
              label={`Read ${one.part}`}
              onClick={() => chosen.set({ part: one.part })}
            >
              {one.part}
            </Button>
          ),
        },
        { title: "At", cell: ({ node }) => node },
        { title: "Value", cell: ({ value }) => value },
        { title: "Charged", kind: "number", cell: (one) => `${volts(one.expected_volts)} V` },
        { title: "Stores", kind: "number", cell: (one) => quantity(facts(one)?.joules, "J") },
        { title: "Last read", kind: "wide", cell: (one) => <Reading one={one} view={view} /> },
      ]}
    />
  );
}

const said = (fact: Fact): string =>
  fact.kind === "power"
    ? fact.body.on
      ? `Switched on${fact.body.mains ? `, mains ${String(fact.body.mains)} V` : ""}`
      : "Switched off, plug out"
    : `${String(fact.body.at)} read ${volts(fact.body.volts as number)} V`;

function History({ view }: { view: View }) {
  const facts = useResource<Fact[]>(`/api/jobs/${view.job}/facts`);
  return (
    <Section title="The record">
      <From of={facts}>
        {(all) => (
          <ol class="record">
            {all
              .filter(({ kind }) => kind === "power" || kind === "drain")
              .reverse()
              .map((fact) => (
                <li key={fact.id} class={fact.undone ? "undone" : undefined}>
                  <span class="dim">{when(fact.at)}</span> {said(fact)}
                  {fact.undone && <span class="dim"> (taken back)</span>}
                </li>
              ))}
            <li>
              <span class="dim">{when(view.opened)}</span> Taken in: counts as charged, nobody knows
              when it was last on
            </li>
          </ol>
        )}
      </From>
    </Section>
  );
}

export const makeSafe: Panel = {
  id: "make-safe",
  stage: "make safe",
  title: "Make safe",
  key: "2",
  view: MakeSafe,
};
