// What becomes of a small signal: gain at every stage, gain and phase over frequency at one of them.
import { useMemo } from "preact/hooks";
import type { Drawing } from "../plot/lines";
import { useDraft, useSteady } from "../store";
import type { Response } from "../types";
import { Choice } from "../ui/controls";
import { From, Table } from "../ui/frame";
import { Plot } from "../ui/plot";
import { hertz, quantity } from "../units";
import { Controls, pathOf, useTurned } from "./library-controls";

interface Asked {
  from: string;
  to: string;
  as: "plot" | "table";
}

const query = (key: string, value: string): string =>
  value && `${key}=${encodeURIComponent(value)}`;

export function LibraryResponse({ amp }: { amp: string }) {
  const asked = useDraft<Asked>(`response ${amp}`, { from: "", to: "", as: "plot" });
  const turned = useTurned(amp);
  const { from, to } = asked.value;
  const found = useSteady<Response>(
    pathOf(amp, "response", query("from", from), query("to", to), turned.query),
  );
  return (
    <From of={found} lines={10}>
      {(data) => (
        <>
          <Inputs
            data={data}
            from={from || data.from}
            onChoose={(part) => asked.set({ from: part })}
          />
          <div class="tubes">
            <Stages data={data} to={to || data.to} onChoose={(at) => asked.set({ to: at })} />
            <div>
              <Sweep data={data} as={asked.value.as} onAs={(as) => asked.set({ as })} />
              <Controls amp={amp} turned={turned} />
            </div>
          </div>
        </>
      )}
    </From>
  );
}

// What is chosen shows at once; what the program answers to it follows.
interface ChooseProps {
  data: Response;
  onChoose: (place: string) => void;
}

function Inputs({ data, from, onChoose }: ChooseProps & { from: string }) {
  return (
    <Choice
      label="In at, from a generator of 600 ohm"
      value={from}
      onChoose={onChoose}
      options={data.inputs.map(({ part, what }) => ({
        value: part,
        words: [part, what].filter(Boolean).join(" "),
      }))}
    />
  );
}

const LEAST = 0.001; // a side path: its figures say nothing

const times = (gain: number): string =>
  gain < LEAST
    ? `< ${LEAST}`
    : gain >= 99.95
      ? gain.toFixed(0)
      : String(Number(gain.toPrecision(3)));

/** Each place with its gain at 1 kHz; one is plotted. */
function Stages({ data, to, onChoose }: ChooseProps & { to: string }) {
  return (
    <fieldset class="stages">
      <legend>Out at, gain at {hertz(data.hertz)}</legend>
      {data.stages.map((stage) => (
        <label key={stage.at} class={stage.at === to ? "on" : undefined}>
          <input
            type="radio"
            name="stage"
            checked={stage.at === to}
            onChange={() => onChoose(stage.at)}
          />
          <span>
            <strong>{stage.at}</strong> <span class="dim">{stage.what}</span>
          </span>
          <span class="stage-gain">{times(stage.gain)}</span>
        </label>
      ))}
    </fieldset>
  );
}

/* ---- over frequency ------------------------------------------------------------------------------ */

/** The phase without its jumps of a whole turn. */
function unwound(degrees: (number | null)[]): (number | null)[] {
  let turns = 0;
  let last: number | null = null;
  return degrees.map((now) => {
    if (now === null) return null;
    if (last !== null && Math.abs(now - last) > 180) turns += now > last ? -360 : 360;
    last = now;
    return now + turns;
  });
}

const LEAST_DB = 24; // of height, so that a flat response looks flat

function drawingOf(data: Response): Drawing {
  const gains = data.sweep.map(({ gain_db }) => gain_db);
  const known = gains.filter((gain): gain is number => gain !== null);
  const top = Math.ceil((Math.max(...known) + 3) / 6) * 6;
  const low = Math.min(Math.floor((Math.min(...known) - 3) / 6) * 6, top - LEAST_DB);
  return {
    x: {
      label: "Frequency, Hz",
      log: true,
      range: [data.sweep[0]!.hertz, data.sweep.at(-1)!.hertz],
      write: (value) => (value < 1000 ? `${value}` : `${value / 1000}k`),
      values: data.sweep.map((row) => row.hertz),
    },
    left: { label: "Gain, dB", range: [low, top] },
    right: { label: "Phase, degrees" },
    lines: [
      { name: "gain", values: gains, ink: "accent", width: 3 },
      {
        name: "phase",
        values: unwound(data.sweep.map(({ phase_deg }) => phase_deg)),
        ink: "edge",
        dash: true,
        right: true,
      },
    ],
    marks: [data.low_hz, data.high_hz].flatMap((at) =>
      at === null ? [] : [{ x: at, words: `3 dB less, ${hertz(at)}` }],
    ),
  };
}

function words(data: Response): string {
  const most = data.sweep.reduce((best, row) =>
    (row.gain_db ?? -Infinity) > (best.gain_db ?? -Infinity) ? row : best,
  );
  const edges = [data.low_hz, data.high_hz].filter((at) => at !== null).map(hertz);
  const less = edges.length ? ` 3 dB less at ${edges.join(" and ")}.` : "";
  return `Most at ${hertz(most.hertz)}: ${most.gain_db?.toFixed(1)} dB.${less}`;
}

interface SweepProps {
  data: Response;
  as: Asked["as"];
  onAs: (as: Asked["as"]) => void;
}

function Sweep({ data, as, onAs }: SweepProps) {
  const drawing = useMemo(() => drawingOf(data), [data]);
  const stage = data.stages.find(({ at }) => at === data.to);
  return (
    <div class="tube">
      <div class="section-head">
        <h2>
          {data.from} to {data.to} <span class="dim">{stage?.what}</span>
        </h2>
        <Choice
          label="Show it as"
          hideLabel
          value={as}
          onChoose={onAs}
          options={[
            { value: "plot", words: "Plot" },
            { value: "table", words: "Table" },
          ]}
        />
      </div>
      {as === "plot" ? (
        <Plot
          drawing={drawing}
          label={`Gain and phase from ${data.from} to ${data.to}. The table has the figures.`}
        />
      ) : (
        <Rows data={data} />
      )}
      <p class="response-words">
        {words(data)} 20 mV in gives {quantity(stage && stage.gain * 0.02, "V")} at{" "}
        {hertz(data.hertz)}. Small signals: where that is more than the stage can swing, it clips
        instead.
      </p>
    </div>
  );
}

const EVERY = 4; // of the plot's points, one row in the table

function Rows({ data }: { data: Response }) {
  return (
    <div class="curves-table">
      <Table
        caption={`Gain and phase from ${data.from} to ${data.to}`}
        rows={data.sweep.filter((_, at) => at % EVERY === 0)}
        rowKey={(row) => row.hertz}
        empty=""
        columns={[
          { title: "Frequency", kind: "number", cell: (row) => hertz(row.hertz) },
          {
            title: "Gain",
            kind: "number",
            cell: ({ gain_db }) => (gain_db === null ? "none" : times(10 ** (gain_db / 20))),
          },
          {
            title: "dB",
            kind: "number",
            cell: ({ gain_db }) => (gain_db === null ? "\u2013" : gain_db.toFixed(1)),
          },
          {
            title: "Phase",
            kind: "number",
            cell: ({ phase_deg }) => (phase_deg === null ? "\u2013" : `${phase_deg.toFixed(0)}°`),
          },
        ]}
      />
    </div>
  );
}
