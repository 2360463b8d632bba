// The tubes of an amp: plate curves with the load line, idle and the rating; the same in figures.
import { useDraft, useResource } from "../store";
import type { Curves, TubeUnit } from "../types";
import { Button, Choice } from "../ui/controls";
import { From, Table } from "../ui/frame";
import { Badge } from "../ui/marks";
import { Canvas } from "../ui/plot";
import { quantity, volts } from "../units";

const HEIGHT = 420; // px, kept while it comes

const unitName = ({ tube, type, name }: TubeUnit): string =>
  [tube, [type, name].filter(Boolean).join(", ")].join(" ");

// A rectifier has no grid to draw curves for.
const hasCurves = ({ kind }: TubeUnit): boolean => kind !== "diode";

export function LibraryTubes({ amp, tubes }: { amp: string; tubes: TubeUnit[] }) {
  const units = tubes.filter(hasCurves);
  const draft = useDraft(`curves ${amp}`, { at: 0 });
  const chosen = units[draft.value.at] ?? units[0];
  if (!chosen) return <p class="empty">No tube with a grid.</p>;
  return (
    <div class="tubes">
      <ul class="tube-list" aria-label="Tubes">
        {units.map((unit, at) => (
          <li key={unitName(unit)}>
            <Button wide pressed={unit === chosen} onClick={() => draft.set({ at })}>
              {unitName(unit)}
            </Button>
          </li>
        ))}
      </ul>
      <OneTube key={unitName(chosen)} amp={amp} unit={chosen} />
    </div>
  );
}

function OneTube({ amp, unit }: { amp: string; unit: TubeUnit }) {
  const draft = useDraft<{ as: "plot" | "table" }>("curves", { as: "plot" });
  const path = `/api/curves?amp=${encodeURIComponent(amp)}&tube=${unit.tube}&unit=${unit.unit}`;
  const curves = useResource<Curves>(path);
  return (
    <div class="tube">
      <div class="section-head">
        <h2>
          {unitName(unit)} <span class="dim">{unit.does}</span>
        </h2>
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
      </div>
      <From of={curves} lines={8}>
        {(data) => (
          <>
            {draft.value.as === "plot" ? <Plot data={data} /> : <Figures data={data} />}
            <Idle data={data} />
          </>
        )}
      </From>
    </div>
  );
}

/* ---- the plot --------------------------------------------------------------------------------------- */

const draw = (data: Curves) => async (place: HTMLElement) => {
  const { drawCurves } = await import("../plot/curves");
  return () => drawCurves(place, data, HEIGHT);
};

function Plot({ data }: { data: Curves }) {
  const label = `Plate curves of ${data.type}, grid from ${volts(data.curves[0]?.grid_v)} to ${volts(data.curves.at(-1)?.grid_v)} V. The table has the figures.`;
  return (
    <>
      <Canvas of={data} draw={draw(data)} label={label} />
      <ul class="curves-legend" aria-hidden="true">
        <li>
          <span class="stroke curve" /> grid volts at each curve
        </li>
        <li>
          <span class="stroke load" /> DC load line
        </li>
        <li>
          <span class="stroke limit" /> plate rating
        </li>
        <li>
          <span class="idle-ring" /> idle
        </li>
      </ul>
    </>
  );
}

/* ---- in figures -------------------------------------------------------------------------------------- */

const EVERY = 6; // of the plot's points, one row in the table

function Figures({ data }: { data: Curves }) {
  const rows = data.plate_v.map((_, at) => at).filter((at) => at % EVERY === 0);
  return (
    <div class="curves-table">
      <Table
        caption="Plate current in mA, by plate and grid volts"
        rows={rows}
        rowKey={(at) => at}
        empty=""
        columns={[
          { title: "Plate", kind: "number", cell: (at) => `${volts(data.plate_v[at])} V` },
          ...data.curves.map(({ grid_v, plate_ma }) => ({
            title: `${volts(grid_v)} V`,
            kind: "number" as const,
            cell: (at: number) => volts(plate_ma[at]),
          })),
        ]}
      />
    </div>
  );
}

function Idle({ data }: { data: Curves }) {
  const { point, limit_w, system, load_ohms, screen_v } = data;
  const burns =
    point.plate_v !== null && point.plate_ma !== null
      ? (point.plate_v * point.plate_ma) / 1000
      : null;
  const rows: [string, string][] = [
    ["Plate to cathode", `${volts(point.plate_v)} V`],
    ["Plate", `${volts(point.plate_ma)} mA`],
    ["Grid to cathode", `${volts(point.grid_v)} V`],
    ...(screen_v === null
      ? []
      : ([["Screen to cathode", `${volts(screen_v)} V`]] as [string, string][])),
    ["Burns", quantity(burns, "W")],
    ["Rating", limit_w === null ? "none published" : `${quantity(limit_w, "W")} ${system ?? ""}`],
    ["Load at DC", quantity(load_ohms, "ohm")],
  ];
  return (
    <>
      <dl class="idle">
        {rows.map(([name, value]) => (
          <div key={name}>
            <dt>{name}</dt>
            <dd>{value}</dd>
          </div>
        ))}
      </dl>
      <p class="idle-trust">
        {!data.trusted && (
          <Badge shape="question">
            It idles outside what the published figures cover: trust this less.
          </Badge>
        )}
      </p>
    </>
  );
}
