// The tubes of an amp: plate curves with the load line, idle and the rating; the same in figures.
import { useEffect, useRef } from "preact/hooks";
import type uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { theme, useDraft, useResource } from "../store";
import type { Curves, TubeUnit } from "../types";
import { Button, Choice } from "../ui/controls";
import { From, Table } from "../ui/frame";
import { Badge } from "../ui/marks";
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

/** Draws it, and again where the width or the colours change. Returns what ends it. */
function keepDrawn(place: HTMLElement, draw: () => uPlot): () => void {
  let plot = draw();
  const again = () => {
    plot.destroy();
    plot = draw();
  };
  const size = new ResizeObserver(() => place.clientWidth !== plot.width && again());
  const dark = matchMedia("(prefers-color-scheme: dark)");
  size.observe(place);
  dark.addEventListener("change", again);
  return () => {
    size.disconnect();
    dark.removeEventListener("change", again);
    plot.destroy();
  };
}

function Plot({ data }: { data: Curves }) {
  const box = useRef<HTMLDivElement>(null);
  const look = theme.value;
  useEffect(() => {
    const place = box.current!;
    let gone = false;
    let end = () => {};
    // The one part that is brought in when it is wanted: the bench opens sooner without it.
    void import("../plot/curves").then(({ drawCurves }) => {
      if (!gone) end = keepDrawn(place, () => drawCurves(place, data, HEIGHT));
    });
    return () => {
      gone = true;
      end();
    };
  }, [data, look]);
  const label = `Plate curves of ${data.type}, grid from ${volts(data.curves[0]?.grid_v)} to ${volts(data.curves.at(-1)?.grid_v)} V. The table has the figures.`;
  return (
    <>
      <div ref={box} class="curves" role="img" aria-label={label} />
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
