// Make safe: the plug out, each filter capacitor emptied and then read, one at a time.
import { drained } from "../drained";
import { useKeys } from "../keys";
import { practice } from "../meter";
import { switchPower } from "../power";
import { useDraft, useResource } from "../store";
import type { Fact, Safety, View } from "../types";
import { Button, Choice, NumberField } from "../ui/controls";
import { From, Panel as Frame, Problem, Section } from "../ui/frame";
import { Mark } from "../ui/marks";
import { volts, when } from "../units";
import { Capacitors, OtherPlace, Station } from "./capacitors";
import { PracticeBoard } from "./live-panels";
import type { Panel } from ".";

function MakeSafe({ view }: { view: View }) {
  const safety = useResource<Safety>(`/api/jobs/${view.job}/safety`);
  return (
    <Frame
      title="Make safe"
      lead="Only the meter says that a capacitor is empty."
      tools={<Power view={view} />}
    >
      <From of={safety} lines={8}>
        {(plan) => <Plan view={view} plan={plan} />}
      </From>
      {!view.amp.drawn && <OtherPlace view={view} />}
      <History view={view} />
    </Frame>
  );
}

function Plan({ view, plan }: { view: View; plan: Safety }) {
  return (
    <>
      {plan.warning && <Problem faults={[{ code: "suspicious", cause: plan.warning }]} />}
      <div class="make-safe">
        <div>
          {drained(view).on ? <SwitchedOn view={view} /> : <Station view={view} plan={plan} />}
          {practice.value?.here && <PracticeBoard view={view} chart={null} parts={[]} />}
          <Capacitors view={view} plan={plan} />
        </div>
        <Section title="The way">
          <ol class="way">
            {plan.steps.map((step) => (
              <li key={step}>{step}</li>
            ))}
          </ol>
        </Section>
      </div>
    </>
  );
}

/* ---- on and off ------------------------------------------------------------------------------- */

function Power({ view }: { view: View }) {
  const { on } = drained(view);
  const shown = on ? "on" : view.powered.ever ? "off" : null;
  useKeys("Make safe", [
    {
      key: "o",
      does: on ? "switched off, plug out" : "switched on",
      run: () => switchPower(view, !on),
    },
  ]);
  return (
    <Choice
      label="The amp is"
      value={shown}
      onChoose={(value) => value !== shown && switchPower(view, value === "on")}
      options={[
        { value: "off", words: "Off, plug out" },
        { value: "on", words: "Switched on", shape: "bolt" },
      ]}
    />
  );
}

function SwitchedOn({ view }: { view: View }) {
  const draft = useDraft(`mains ${view.job}`, { text: "" });
  const keepMains = (mains: number) => {
    draft.clear();
    switchPower(view, true, mains);
  };
  return (
    <section class="station on" aria-label="Switched on">
      <p class="station-head">
        <Mark shape="bolt" /> It is switched on
      </p>
      <p>Hands out. Switch it off, pull the plug and put it where you can see it. Then drain.</p>
      <div class="row">
        <Button kind="main" onClick={() => switchPower(view, false)}>
          Switched off, plug out
        </Button>
        <NumberField
          label="Mains, if you read it"
          unit="V"
          text={draft.value.text}
          onInput={(text) => draft.set({ text })}
          onNumber={keepMains}
        />
      </div>
    </section>
  );
}

/* ---- what was recorded -------------------------------------------------------------------------- */

function said({ kind, body }: Fact): string {
  if (kind === "drain") return `${String(body.at)} read ${volts(body.volts as number)} V`;
  if (!body.on) return "Switched off, plug out";
  return body.mains ? `Switched on, mains ${volts(body.mains as number)} V` : "Switched on";
}

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
                  <span class="record-when">{when(fact.at)}</span>
                  {said(fact)}
                  {fact.undone && " (taken back)"}
                </li>
              ))}
            <li>
              <span class="record-when">{when(view.opened)}</span>
              Taken in. Counts as charged: nobody knows when it was last on.
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
