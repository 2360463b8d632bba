// What each suspect predicts beside what was read: a line for each place, in widths of the range of
// good amps. The range lies in the middle; the scale grows by ratios outside it.
import { useDraft } from "../store";
import type { Chart, Compared, Suspects } from "../types";
import { Choice } from "../ui/controls";
import { Section, Table } from "../ui/frame";
import { Badge, Mark } from "../ui/marks";
import { quantity, volts } from "../units";
import { partName, ranked, suspectWords } from "./find-suspects";
import { band, lineAt } from "./measure-readings";
import { bandUnits, METER_STEP } from "./measure-scale";

const WORTH = 0.005;
const LETTERS = "ABCD";
const LEAST_SPAN = 3; // half-widths shown at least, so that small departures look small
const DOUBTFUL = 0.3; // chance from which a reading is worth taking again

interface Series {
  letter: string;
  part: string;
  what: string;
}

/** The leaders of the first groups that are still worth a look, the first two in any case. */
function seriesOf(data: Suspects): Series[] {
  const first = data.readings[0]?.by_suspect ?? [];
  const lines = ranked(data);
  const likely = (part: string, what: string): number =>
    lines.find((one) => one.part === part && one.what === what)?.probability ?? 0;
  return first
    .filter(({ part }) => part !== "unmodelled")
    .filter(({ part, what }, at) => at < 2 || likely(part, what) >= WORTH)
    .slice(0, LETTERS.length)
    .map(({ part, what }, at) => ({ letter: LETTERS[at]!, part, what }));
}

const predicted = (row: Compared, { part, what }: Series): number | null =>
  row.by_suspect.find((one) => one.part === part && one.what === what)?.volts ?? null;

/** A reading in its own unit. */
const figure = ({ unit, quantity: what }: Compared, value: number | null): string =>
  unit === "V" && !what.startsWith("AC") ? `${volts(value)} V` : quantity(value, unit);

interface Place {
  row: Compared;
  what: string;
  range: string;
  away: (value: number) => number; // half-widths of the range from its middle
}

function placeOf(row: Compared, chart: Chart): Place {
  const line = lineAt(chart, row.at);
  const reach = row.spread ? 2 * row.spread : METER_STEP;
  const low = line.low ?? (row.healthy ?? 0) - reach;
  const high = line.high ?? (row.healthy ?? 0) + reach;
  return {
    row,
    what: line.what,
    range: band({ low, high }),
    away: (value) => bandUnits(value, low, high, METER_STEP),
  };
}

interface Props {
  data: Suspects;
  chart: Chart;
}

export function Predictions({ data, chart }: Props) {
  const draft = useDraft<{ as: "plot" | "table" }>("predictions", { as: "plot" });
  const series = seriesOf(data);
  const places = data.readings.map((row) => placeOf(row, chart));
  const choice = (
    <Choice
      label="Show it as"
      hideLabel
      value={draft.value.as}
      onChoose={(as) => draft.set({ as })}
      options={[
        { value: "plot", words: "Plot" },
        { value: "table", words: "Table" },
      ]}
    />
  );
  return (
    <Section title="Predicted beside read" aside={choice} class="predictions">
      {!places.length && (
        <p class="empty">Nothing was read yet. What each suspect predicts shows here.</p>
      )}
      {places.length > 0 && <Legend series={series} />}
      {draft.value.as === "plot" ? (
        <Plot places={places} series={series} />
      ) : (
        <Numbers places={places} series={series} />
      )}
      <Doubtful rows={data.readings} />
    </Section>
  );
}

function Legend({ series }: { series: Series[] }) {
  return (
    <ul class="legend">
      <li class="legend-read">
        <Mark shape="dot" /> read
      </li>
      {series.map((one) => (
        <li key={`${one.letter} ${one.part} ${one.what}`} title={suspectWords(one)}>
          <span class="pill">{one.letter}</span> {partName(one)}{" "}
          <span class="dim">{suspectWords(one)}</span>
        </li>
      ))}
    </ul>
  );
}

/* ---- the plot ------------------------------------------------------------------------------------ */

const bent = (away: number): number => Math.sign(away) * Math.log10(1 + Math.abs(away));

/** Where a value lies on the line: 0 at its left end, 100 at its right. */
type Ruler = (away: number) => number;

function rulerOf(places: Place[], series: Series[]): { ruler: Ruler; most: number } {
  const all = places.flatMap(({ row, away }) =>
    [row.read, ...series.map((one) => predicted(row, one))].map((value) =>
      value === null ? 0 : Math.abs(away(value)),
    ),
  );
  const most = Math.max(LEAST_SPAN, ...all) * 1.1;
  return { ruler: (away) => 50 + (48 * bent(away)) / bent(most), most };
}

const TICKS = [1, 3, 10, 30, 100, 300, 1000];
const FEW = 4; // ticks on each side that have room

function Plot({ places, series }: { places: Place[]; series: Series[] }) {
  if (!places.length) return null;
  const { ruler, most } = rulerOf(places, series);
  const fit = TICKS.filter((tick) => tick <= most);
  const ticks = fit.length > FEW ? fit.filter((tick) => /^1/.test(String(tick))) : fit;
  return (
    <div class="plot" aria-hidden="true">
      {places.map((place) => (
        <PlotRow key={place.row.at} place={place} series={series} ruler={ruler} />
      ))}
      <div class="plot-row axis">
        <span />
        <span class="plot-track">
          {[...ticks.map((tick) => -tick), 0, ...ticks].map((tick) => (
            <span key={tick} class="tick" style={{ left: `${ruler(tick)}%` }}>
              {tick === 0 ? "0" : `${Math.abs(tick)}\u00d7`}
            </span>
          ))}
        </span>
        <span />
      </div>
      <p class="plot-words dim">
        Below or above the middle of the range of good amps, in half-widths of it: up to 1{"\u00d7"}{" "}
        is inside.
      </p>
    </div>
  );
}

/** Letters that would lie upon each other share a pill. */
function pills(place: Place, series: Series[], ruler: Ruler): { x: number; letters: string }[] {
  const spots = series
    .map((one) => ({ letters: one.letter, value: predicted(place.row, one) }))
    .filter((spot): spot is { letters: string; value: number } => spot.value !== null)
    .map(({ letters, value }) => ({ letters, x: ruler(place.away(value)) }))
    .sort((a, b) => a.x - b.x);
  const found: { x: number; letters: string }[] = [];
  for (const spot of spots) {
    const last = found.at(-1);
    if (last && spot.x - last.x < 4.5 + 1.5 * last.letters.length) {
      last.x += (spot.x - last.x) / (last.letters.length + 1); // the middle of all that share it
      last.letters += spot.letters;
    } else found.push({ ...spot });
  }
  return found;
}

interface RowProps {
  place: Place;
  series: Series[];
  ruler: Ruler;
}

function PlotRow({ place, series, ruler }: RowProps) {
  const { row, what } = place;
  const [left, right] = [ruler(-1), ruler(1)];
  return (
    <div class="plot-row">
      <span class="plot-at">
        <strong>{row.at}</strong> <span class="dim">{what}</span>
      </span>
      <span class="plot-track">
        <span class="plot-band" style={{ left: `${left}%`, width: `${right - left}%` }} />
        {pills(place, series, ruler).map(({ x, letters }) => (
          <span key={`${letters} ${x}`} class="pill" style={{ left: `${x}%` }}>
            {letters}
          </span>
        ))}
        <span
          key={ruler(place.away(row.read))}
          class="plot-read"
          style={{ left: `${ruler(place.away(row.read))}%` }}
        />
      </span>
      <span class="plot-value">{figure(row, row.read)}</span>
    </div>
  );
}

/* ---- the same in figures ---------------------------------------------------------------------------- */

function Numbers({ places, series }: { places: Place[]; series: Series[] }) {
  if (!places.length) return null;
  return (
    <Table
      caption="Predicted beside read"
      rows={places}
      rowKey={({ row }) => row.at}
      empty=""
      columns={[
        { title: "Place", cell: ({ row }) => <strong>{row.at}</strong> },
        { title: "Good amps", cell: ({ range }) => range },
        {
          title: "Read",
          kind: "number",
          cell: ({ row }) => <strong>{figure(row, row.read)}</strong>,
        },
        ...series.map((one) => ({
          title: `${one.letter} ${partName(one)}`,
          kind: "number" as const,
          cell: ({ row }: Place) => figure(row, predicted(row, one)),
        })),
      ]}
    />
  );
}

function Doubtful({ rows }: { rows: Compared[] }) {
  const odd = rows.filter(({ chance_wrong }) => chance_wrong >= DOUBTFUL);
  if (!odd.length) return null;
  return (
    <ul class="doubtful">
      {odd.map((row) => (
        <li key={row.at}>
          <Badge shape="question">
            {row.at} {figure(row, row.read)} may itself be wrong (
            {Math.round(row.chance_wrong * 100)} % chance). Take it again.
          </Badge>
        </li>
      ))}
    </ul>
  );
}
