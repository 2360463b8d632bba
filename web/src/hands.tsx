// Before hands go inside. Every panel that sends them there stands inside this.
import { signal } from "@preact/signals";
import type { ComponentChildren } from "preact";
import { drained } from "./drained";
import { wired } from "./meter";
import { usePedal } from "./pedal";
import type { View } from "./types";
import { Button, Link } from "./ui/controls";
import { Mark } from "./ui/marks";

interface Props {
  view: View;
  does: string; // what the hands would do there: "look at the parts", "solder"
  /** dead: the amp must be drained and measured. live: readings with it on, one hand. */
  mode?: "dead" | "live";
  children: ComponentChildren;
}

// What has been answered, until the next power-up or reload. Never stored: tomorrow it is asked again.
const answered = signal<ReadonlySet<string>>(new Set());

// To switch on is what the live question is about: it does not come again in mid-reading.
const questionOf = (view: View, mode: string): string =>
  mode === "live" ? `${view.job} live` : `${view.job} dead ${view.powered.at ?? 0}`;

const DEAD = [
  "Mains plug out, where you can see it.",
  "Each filter capacitor emptied through a resistor, and then read with the meter: near zero is the aim, 60 V the limit.",
  "Not sure? Stop. Local electrical codes and licensed practice come first.",
];
const LIVE = [
  "These voltages kill. Clip the black lead to the chassis before you switch on.",
  "One hand holds the red probe, the other stays in your pocket. No rings, no watch strap, dry floor, nobody leaning in.",
  "Clip on and off only with it switched off. Not sure? Stop.",
];
const ON_MAINS =
  "No power transformer: the mains is in the circuit, and the chassis may be live even when it is off. Isolation transformer, or leave it.";

export function HandsInside({ view, does, mode = "dead", children }: Props) {
  const state = drained(view);
  const question = questionOf(view, mode);
  const asked = answered.value.has(question);
  const answer = () => (answered.value = new Set([...answered.value, question]));
  usePedal({ take: mode === "live" && !asked && wired() && answer }); // a hand may be on the probe
  if (mode === "dead" && state.measured) return <>{children}</>;
  const rules = mode === "live" ? LIVE : DEAD;
  const head =
    mode === "live"
      ? "Live readings: one hand"
      : state.on
        ? "Hands out: it is switched on"
        : "Hands out: not every filter capacitor has been read below 60 V";
  return (
    <>
      <aside class={`caution${asked ? " brief" : ""}`} aria-label="Caution">
        <Mark shape={mode === "live" ? "bolt" : "hazard"} />
        <div>
          <p class="caution-head">{head}</p>
          <ul>
            {view.amp.transformerless && <li>{ON_MAINS}</li>}
            {(asked ? rules.slice(0, 1) : rules).map((rule) => (
              <li key={rule}>{rule}</li>
            ))}
          </ul>
          {!asked && (
            <div class="row">
              {mode === "dead" && (
                <Link to={`jobs/${view.job}/make-safe`} kind="main">
                  Go to Make safe
                </Link>
              )}
              <Button onClick={answer}>
                {mode === "live"
                  ? "Understood: show the chart"
                  : `Open it to ${does}; my hands stay out`}
              </Button>
            </div>
          )}
        </div>
        {asked && mode === "dead" && (
          <Link to={`jobs/${view.job}/make-safe`} kind="button">
            Make safe
          </Link>
        )}
      </aside>
      {asked && children}
    </>
  );
}
