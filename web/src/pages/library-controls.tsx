// The amp's controls, turned on paper: kept for each amp, the same for response, hum and tremolo.
import { useEffect, useState } from "preact/hooks";
import { useDraft, useSteady } from "../store";
import type { AmpControl, Response } from "../types";
import { Button, Choice } from "../ui/controls";

const CALM_MS = 120; // while a control is being turned, nothing is asked

export interface Turned {
  query: string; // "turn=P1:7,S3:0", or ""
  at: (control: AmpControl) => number;
  turn: (part: string, position: number) => void;
  reset: () => void;
  any: boolean;
}

/** Follows `value` once it has been the same for a while. */
function useCalm(value: string): string {
  const [calm, setCalm] = useState(value);
  useEffect(() => {
    const timer = setTimeout(() => setCalm(value), CALM_MS);
    return () => clearTimeout(timer);
  }, [value]);
  return calm;
}

export function useTurned(amp: string): Turned {
  const draft = useDraft<Record<string, number>>(`turned ${amp}`, {});
  const turns = Object.entries(draft.value)
    .map(([part, position]) => `${part}:${position}`)
    .join(",");
  return {
    query: useCalm(turns && `turn=${turns}`),
    at: ({ part, position }) => draft.value[part] ?? position,
    turn: (part, position) => draft.set({ [part]: position }),
    reset: draft.clear,
    any: draft.touched,
  };
}

export const pathOf = (amp: string, what: string, ...query: string[]): string =>
  `/api/amps/${encodeURIComponent(amp)}/${what}?${query.filter(Boolean).join("&")}`;

export function Controls({ amp, turned }: { amp: string; turned: Turned }) {
  // As in the file: where each stands before it is turned.
  const drawn = useSteady<Response>(pathOf(amp, "response"));
  const controls = drawn.data?.controls ?? [];
  return (
    <section class="section turns" aria-labelledby="turns">
      <div class="section-head">
        <h2 id="turns">Controls</h2>
        <Button kind="quiet" disabled={!turned.any} onClick={turned.reset}>
          As in the file
        </Button>
      </div>
      {drawn.data && !controls.length && <p class="dim">None in the signal’s path.</p>}
      <ul>
        {controls.map((control) => (
          <li key={control.part}>
            {control.kind === "pot" ? (
              <Pot control={control} turned={turned} />
            ) : (
              <Switch control={control} turned={turned} />
            )}
          </li>
        ))}
      </ul>
    </section>
  );
}

function Pot({ control, turned }: { control: AmpControl; turned: Turned }) {
  const at = turned.at(control);
  return (
    <label class="turn">
      <span>
        <strong>{control.part}</strong> <span class="dim">{control.what}</span>
      </span>
      <input
        type="range"
        min="0"
        max="10"
        step="0.5"
        value={at}
        onInput={(event) => turned.turn(control.part, Number(event.currentTarget.value))}
      />
      <output>{at}</output>
    </label>
  );
}

function Switch({ control, turned }: { control: AmpControl; turned: Turned }) {
  return (
    <div class="turn switch">
      <span>
        <strong>{control.part}</strong> <span class="dim">{control.what}</span>
      </span>
      <Choice
        label={`${control.part} ${control.what ?? ""}`}
        hideLabel
        value={turned.at(control) > 0 ? "closed" : "open"}
        onChoose={(to) => turned.turn(control.part, to === "closed" ? 1 : 0)}
        options={["closed", "open"]}
      />
    </div>
  );
}
