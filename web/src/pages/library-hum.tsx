// Ripple at each supply node and hum at the speaker: the waveform, the levels, what would raise it.
import { useMemo } from "preact/hooks";
import type { Drawing } from "../plot/lines";
import { useDraft, useSteady } from "../store";
import type { Hum, HumLine } from "../types";
import { From, Section, Table } from "../ui/frame";
import { Plot } from "../ui/plot";
import { quantity, volts } from "../units";
import { Controls, pathOf, useTurned } from "./library-controls";

const LEAST = 5e-5; // V: what is less is not worth its figures

const rms = (value: number): string => (value < LEAST ? "< 0.05 mV" : quantity(value, "V"));

export function LibraryHum({ amp }: { amp: string }) {
  const turned = useTurned(amp);
  const hum = useSteady<Hum>(pathOf(amp, "hum", turned.query));
  const draft = useDraft(`hum ${amp}`, { at: "" });
  return (
    <>
      <From of={hum} lines={10}>
        {(data) => {
          const chosen = data.lines.find(({ at }) => at === draft.value.at) ?? data.lines.at(-1);
          if (!chosen) return <p class="empty">No supply that could hum.</p>;
          return (
            <>
              <div class="tubes">
                <Places data={data} chosen={chosen} onChoose={(at) => draft.set({ at })} />
                <Wave data={data} line={chosen} />
              </div>
              <Levels data={data} />
              <Raise data={data} />
            </>
          );
        }}
      </From>
      <Controls amp={amp} turned={turned} />
    </>
  );
}

interface PlacesProps {
  data: Hum;
  chosen: HumLine;
  onChoose: (at: string) => void;
}

function Places({ data, chosen, onChoose }: PlacesProps) {
  return (
    <fieldset class="stages">
      <legend>Ripple in all, rms</legend>
      {data.lines.map((line) => (
        <label key={line.at} class={line === chosen ? "on" : undefined}>
          <input
            type="radio"
            name="hum"
            checked={line === chosen}
            onChange={() => onChoose(line.at)}
          />
          <span>
            <strong>{line.at}</strong> <span class="dim">{line.what}</span>
          </span>
          <span class="stage-gain">
            {rms(Math.hypot(line.mains_v, line.twice_v, line.above_v))}
          </span>
        </label>
      ))}
    </fieldset>
  );
}

const SCALES: [number, string][] = [
  [1, "V"],
  [1e-3, "mV"],
  [1e-6, "\u00b5V"],
];

function drawingOf(data: Hum, line: HumLine): Drawing {
  const most = Math.max(...line.wave.map(Math.abs));
  const [scale, unit] = SCALES.find(([size]) => most >= size) ?? SCALES.at(-1)!;
  return {
    x: { label: "Time, ms", values: data.ms, range: [0, data.ms.at(-1)!] },
    left: { label: `${line.at} without its DC, ${unit}` },
    lines: [{ name: "", values: line.wave.map((one) => one / scale), ink: "accent", width: 3 }],
    marks: [{ x: data.ms.at(-1)! / 2, words: "one period of the mains" }],
  };
}

function Wave({ data, line }: { data: Hum; line: HumLine }) {
  const drawing = useMemo(() => drawingOf(data, line), [data, line]);
  return (
    <div class="tube">
      <div class="section-head">
        <h2>
          {line.at} <span class="dim">as a scope shows it, over two periods of the mains</span>
        </h2>
      </div>
      <Plot
        drawing={drawing}
        label={`Ripple at ${line.at} over two periods of the mains. The levels stand below.`}
      />
    </div>
  );
}

function Levels({ data }: { data: Hum }) {
  return (
    <Section title="Levels">
      <Table
        caption="Hum by frequency, volts rms as an AC meter behind a capacitor reads them"
        rows={data.lines}
        rowKey={({ at }) => at}
        empty=""
        columns={[
          { title: "Place", cell: ({ at }) => <strong>{at}</strong> },
          { title: "What", cell: ({ what }) => what },
          {
            title: "DC",
            kind: "number",
            cell: ({ what, dc_v }) => (what === "supply" ? `${volts(dc_v)} V` : ""),
          },
          {
            title: `${data.mains_hz} Hz`,
            kind: "number",
            cell: ({ mains_v }) => rms(mains_v),
          },
          {
            title: `${2 * data.mains_hz} Hz`,
            kind: "number",
            cell: ({ twice_v }) => rms(twice_v),
          },
          { title: "Above", kind: "number", cell: ({ above_v }) => rms(above_v) },
        ]}
      />
      <p class="dim">{data.words}</p>
    </Section>
  );
}

function Raise({ data }: { data: Hum }) {
  return (
    <Section title="What would raise it at the speaker">
      <Table
        caption="Parts that would raise the hum at the speaker by half or more"
        rows={data.parts}
        rowKey={({ part, unit, what }) => `${part} ${unit} ${what}`}
        empty="No single part would raise it by half."
        columns={[
          { title: "Part", cell: ({ part }) => <strong>{part}</strong> },
          {
            title: "What it is",
            cell: ({ about, unit }) => [about, unit].filter(Boolean).join(", "),
          },
          { title: "When it is", cell: ({ what }) => what },
          { title: "At the speaker", kind: "number", cell: ({ speaker_v }) => rms(speaker_v) },
        ]}
      />
    </Section>
  );
}
