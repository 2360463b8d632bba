// What every reading rests on: whether the amp is on, the mains at the wall, the meter in hand.
import { useState } from "preact/hooks";
import { drained } from "../drained";
import { useKeys } from "../keys";
import { switchPower } from "../power";
import type { Phase, View } from "../types";
import { Button, Choice, Field, NumberField } from "../ui/controls";
import { Dialog } from "../ui/frame";
import { volts } from "../units";
import { mainsOf, meterReads, useMains, useMeter } from "./measure-readings";

const METERS = ["10M", "1M", "20k per volt", "20k per volt on 300", "1k per volt"];

export const meterWords = (meter: string): string => meter.replace(/(\d)\s*M$/, "$1 Mohm");

/** The amp on or off. Switched on, it counts as charged until each capacitor was read again. */
export function OnOff({ view }: { view: View }) {
  const { mains } = useMains(view).value;
  const { on } = drained(view);
  const set = (next: boolean) => next !== on && switchPower(view, next, mainsOf(mains));
  useKeys("The amp", [
    { key: "o", does: on ? "switched off, plug out" : "switched on", run: () => set(!on) },
  ]);
  return (
    <Choice
      label="The amp is"
      hideLabel
      value={on ? "on" : view.powered.ever ? "off" : null}
      onChoose={(value) => set(value === "on")}
      options={[
        { value: "off", words: "Off, plug out" },
        { value: "on", words: "Switched on", shape: "bolt" },
      ]}
    />
  );
}

/** The mains that the last reading of this phase was taken with. */
function mainsRead(view: View, phase: Phase): number | null {
  return view.readings[phase].filter(({ mains }) => mains).at(-1)?.mains ?? null;
}

interface Props {
  view: View;
  phase: Phase;
}

/** The mains and the meter: a button that says them, and the dialog that changes them. */
export function MainsAndMeter({ view, phase }: Props) {
  const typed = mainsOf(useMains(view).value.mains) ?? mainsRead(view, phase);
  const { meter } = useMeter().value;
  const [open, setOpen] = useState(false);
  useKeys("Mains and meter", [{ key: "m", does: "mains and meter", run: () => setOpen(true) }]);
  return (
    <>
      <Button onClick={() => setOpen(true)}>
        {typed ? `Mains ${volts(typed)} V` : "Mains not read"}, meter {meterWords(meter)}
      </Button>
      <Dialog title="Mains and meter" open={open} onClose={() => setOpen(false)}>
        <BenchForm view={view} onDone={() => setOpen(false)} />
      </Dialog>
    </>
  );
}

const WIDE =
  "Read it: the expected range narrows. Empty: taken from the drawing, and the range is wide.";
const LOAD =
  "A digital meter is nearly always 10M. A moving-coil one says it on its dial: 20k per volt.";

function BenchForm({ view, onDone }: { view: View; onDone: () => void }) {
  const bench = useMeter();
  const wall = useMains(view);
  const [meter, setMeter] = useState(bench.value.meter);
  const [mains, setMains] = useState(wall.value.mains);
  const noMains = mains.trim() !== "" && mainsOf(mains) === null;
  const noMeter = !meterReads(meter);
  const keep = () => {
    if (noMains || noMeter) return;
    bench.set({ meter: meter.trim() });
    wall.set({ mains: mains.trim() });
    onDone();
  };
  return (
    <>
      <NumberField
        label="Mains at the wall, as read just now"
        unit="V"
        text={mains}
        onInput={setMains}
        onNumber={keep}
        hint={noMains ? "A mains between 20 and 300 V" : WIDE}
      />
      <Field
        label="The meter’s load"
        value={meter}
        list={METERS}
        onInput={setMeter}
        onEnter={keep}
        hint={LOAD}
        problem={noMeter ? "Write it like 10M, 20k per volt, or 20k per volt on 300." : null}
      />
      <Button kind="main" disabled={noMains || noMeter} onClick={keep}>
        Use these
      </Button>
    </>
  );
}
