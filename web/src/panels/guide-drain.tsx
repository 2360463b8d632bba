// Watching a capacitor empty: the meter's volts falling on a logarithmic plot, with the fitted curve.
import { useEffect, useState } from "preact/hooks";
import { guide, lead, meter, press, trace } from "../meter";
import { usePedal, usePedalKeys } from "../pedal";
import { keyName } from "../keys";
import type { Drawing } from "../plot/lines";
import { hush, speak } from "../speech";
import type { DrainedCapacitor, GuideDrain, View } from "../types";
import { Button } from "../ui/controls";
import { Badge, type Shape, type Tone } from "../ui/marks";
import { Plot } from "../ui/plot";
import { seconds, volts } from "../units";
import { MeterStatus, shows, useVoice } from "./wire";

const STATES: Record<GuideDrain["state"], { shape: Shape; tone: Tone }> = {
  looking: { shape: "question", tone: "plain" },
  charged: { shape: "up", tone: "hazard" },
  falling: { shape: "down", tone: "plain" },
  stuck: { shape: "hazard", tone: "hazard" },
  "below 60 V": { shape: "dot", tone: "accent" },
  "rising again": { shape: "up", tone: "hazard" },
  "clip off": { shape: "hazard", tone: "hazard" },
};

export interface DrainWatchProps {
  view: View;
  watch: GuideDrain;
  ohms: number;
  next: DrainedCapacitor | undefined; // the one after this, not read yet
}

export function DrainWatch({ view, watch, ohms, next }: DrainWatchProps) {
  const keys = usePedalKeys().value;
  const { voice } = useVoice().value;
  const one = view.drained.capacitors.find(({ part }) => part === watch.at);
  const done = watch.fact > 0 && one?.below_60 === true;
  useEffect(() => {
    const words = guide.value?.say ?? [];
    if (words.length) void speak(words, voice, done ? "taken" : null);
  }, [guide.value?.seq]);
  useEffect(() => hush, []);
  const take = () => {
    if (!done) return void press("take");
    if (next) void lead(view.job, { lead: "drain", at: next.part, through: ohms });
    else void press("stop");
  };
  const stop = () => {
    hush();
    void press("stop");
  };
  usePedal({ take, stop });
  const fit = meter.value?.settled;
  const { shape, tone } = STATES[watch.state];
  return (
    <div class="watch">
      <p class="guide-figure" aria-hidden="true">
        {shows(meter.value)}&nbsp;V
      </p>
      <p class="watch-state" role="status">
        <Badge shape={shape} tone={tone}>
          {watch.at} {watch.state}
          {watch.words ? `: ${watch.words}` : ""}
        </Badge>
      </p>
      <p class="dim watch-times">
        To 60 V {seconds(fit?.to_60_s)}, to 1 V {seconds(fit?.to_1_s)}, by the fitted curve.{" "}
        {meter.value?.status !== "reading" && <MeterStatus />}
      </p>
      <div class="guide-buttons">
        <Button kind="main" onClick={take}>
          {done ? (next ? `Watch ${next.part}` : "End") : "Record what it shows"} (
          {keyName(keys.take)})
        </Button>
        <Button kind="hazard" onClick={stop}>
          Stop ({keyName(keys.stop)})
        </Button>
      </div>
      <p class="dim watch-times">
        {done && next && `Recorded. Clip to ${next.part} at ${next.node}, the resistor too.`}
      </p>
      <Falling watch={watch} />
    </div>
  );
}

const EVERY_MS = 500;
const LEAST_V = 0.1;
const SHOWN_S = 60;

/** What was seen, and from the last of it the fitted curve onwards. */
function drawingOf(): Drawing {
  const { tau_s = null, to_1_s = null } = meter.value?.settled ?? {};
  const end = trace.at(-1)?.[0] ?? 0;
  const seen = trace.filter(([s]) => s > end - SHOWN_S);
  const from = seen[0]?.[0] ?? 0;
  const last = Math.abs(seen.at(-1)?.[1] ?? 0);
  const ahead = tau_s ? Math.min(to_1_s ?? 0, SHOWN_S) : 0;
  const curve = ahead > 0 ? Array.from({ length: 25 }, (_, at) => (ahead * at) / 24) : [];
  const most = Math.max(100, ...seen.map(([, one]) => Math.abs(one ?? 0)));
  const size = (one: number | null): number | null =>
    one === null ? null : Math.max(LEAST_V, Math.abs(one));
  return {
    x: {
      label: "Seconds",
      values: [...seen.map(([s]) => s - from), ...curve.map((s) => end - from + s + 1e-3)],
    },
    left: { label: "Volts", log: true, range: [LEAST_V, most * 1.2] },
    lines: [
      {
        name: "the meter",
        ink: "accent",
        width: 3,
        values: [...seen.map(([, one]) => size(one)), ...curve.map(() => null)],
      },
      {
        name: "fitted",
        ink: "edge",
        dash: true,
        values: [...seen.map(() => null), ...curve.map((s) => size(last * Math.exp(-s / tau_s!)))],
      },
    ],
    levels: [{ y: 60, words: "60 V, the limit" }],
  };
}

function Falling({ watch }: { watch: GuideDrain }) {
  const [drawing, draw] = useState(drawingOf);
  useEffect(() => {
    const timer = setInterval(() => draw(drawingOf()), EVERY_MS);
    return () => clearInterval(timer);
  }, []);
  return (
    <Plot
      drawing={drawing}
      height={280}
      label={`${watch.at} over the last minute: ${volts(watch.volts)} V now, ${watch.state}.`}
    />
  );
}
