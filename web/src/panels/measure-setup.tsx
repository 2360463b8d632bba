// What every reading rests on: whether the amp is on, the mains at the wall, the meter in hand.
import { useState } from "preact/hooks";
import { record } from "../facts";
import { drained } from "../drained";
import { useKeys } from "../keys";
import type { View } from "../types";
import { Button, Choice, Field, NumberField } from "../ui/controls";
import { Dialog } from "../ui/frame";
import { volts } from "../units";
import { meterReads, useBench } from "./measure-readings";

const METERS = ["10M", "1M", "20k per volt", "20k per volt on 300", "1k per volt"];

export const meterWords = (meter: string): string => meter.replace(/(\d)\s*M$/, "$1 Mohm");

function switchPower(view: View, on: boolean, mains: string): void {
  const read = Number(mains.replace(",", "."));
  const body = on && read ? { on, mains: read } : { on };
  const words = on ? "switched on" : "switched off, plug out";
  void record(view.job, "power", body, { words });
}

/** The amp on or off. Switched on, it counts as charged until each capacitor was read again. */
export function OnOff({ view }: { view: View }) {
  const bench = useBench();
  const { on } = drained(view);
  const set = (next: boolean) => next !== on && switchPower(view, next, bench.value.mains);
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

/** The mains and the meter: a button that says them, and the dialog that changes them. */
export function MainsAndMeter() {
  const bench = useBench();
  const [open, setOpen] = useState(false);
  const { mains, meter } = bench.value;
  useKeys("Mains and meter", [{ key: "m", does: "mains and meter", run: () => setOpen(true) }]);
  return (
    <>
      <Button onClick={() => setOpen(true)}>
        {mains ? `Mains ${volts(Number(mains.replace(",", ".")))} V` : "Mains not read"}
        {`, meter ${meterWords(meter)}`}
      </Button>
      <Dialog title="Mains and meter" open={open} onClose={() => setOpen(false)}>
        <BenchForm onDone={() => setOpen(false)} />
      </Dialog>
    </>
  );
}

function BenchForm({ onDone }: { onDone: () => void }) {
  const bench = useBench();
  const [meter, setMeter] = useState(bench.value.meter);
  const [mains, setMains] = useState(bench.value.mains);
  const bad = !meterReads(meter);
  const keep = () => {
    if (bad) return;
    bench.set({ meter: meter.trim(), mains });
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
        hint="Read it: the expected range narrows. Empty: taken from the drawing, and the range is wide."
      />
      <Field
        label="The meter's load"
        value={meter}
        list={METERS}
        onInput={setMeter}
        onEnter={keep}
        hint="A digital meter is nearly always 10M. A moving-coil one says it on its dial: 20k per volt."
        problem={bad ? "Write it like 10M, 20k per volt, or 20k per volt on 300." : null}
      />
      <Button kind="main" disabled={bad} onClick={keep}>
        Use these
      </Button>
    </>
  );
}
