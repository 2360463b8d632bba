// Plate curves with the DC load line, idle and the plate's rating, drawn by uPlot on a canvas.
import uPlot from "uplot";
import type { Curves } from "../types";
import { axis, inksOf, type Inks } from "./inks";

/** Curves, load line and rating have volts of their own: joined over one axis, gaps are bridged. */
function joined(data: Curves): uPlot.AlignedData {
  const tables: uPlot.AlignedData[] = [[data.plate_v, ...data.curves.map((one) => one.plate_ma)]];
  for (const line of [data.load, data.limit])
    tables.push(line ? [line.plate_v, line.plate_ma] : [[0], [null]]);
  return uPlot.join(tables);
}

function seriesOf(data: Curves, inks: Inks): uPlot.Series[] {
  const line = (more: uPlot.Series): uPlot.Series => ({
    spanGaps: true,
    points: { show: false },
    ...more,
  });
  return [
    {},
    ...data.curves.map(() => line({ stroke: inks.edge, width: 1.5 })),
    line({ stroke: inks.accent, width: 3 }),
    line({ stroke: inks.hazard, width: 2, dash: [8, 6] }),
  ];
}

/* ---- what stands on the curves -------------------------------------------------------------------- */

const volts = (value: number): string => `${Number(value.toFixed(2))}`.replace("-", "\u2212");

/** Each curve's grid volts, where the curve leaves the plot. */
function drawNames(plot: uPlot, data: Curves, inks: Inks): void {
  const { ctx } = plot;
  const ratio = devicePixelRatio;
  ctx.font = `${14 * ratio}px B612, system-ui, sans-serif`;
  ctx.fillStyle = inks.dim;
  let above = -Infinity; // of the last name at the right edge: where curves crowd, some go unnamed
  for (const { grid_v, plate_ma } of data.curves) {
    const inside = plate_ma.filter((ma) => ma <= data.most.plate_ma).length - 1; // they rise
    if (inside < 1) continue;
    const x = plot.valToPos(data.plate_v[inside]!, "x", true);
    const y = plot.valToPos(plate_ma[inside]!, "y", true);
    const right = plot.bbox.left + plot.bbox.width;
    const atEdge = x > right - 60 * ratio;
    if (atEdge && y - above < 16 * ratio) continue;
    if (atEdge) above = y;
    ctx.textAlign = atEdge ? "right" : "left";
    ctx.fillText(volts(grid_v), atEdge ? right - 4 * ratio : x + 4 * ratio, y - 6 * ratio);
  }
}

function drawIdle(plot: uPlot, { point }: Curves, inks: Inks): void {
  if (point.plate_v === null || point.plate_ma === null) return;
  const { ctx } = plot;
  const x = plot.valToPos(point.plate_v, "x", true);
  const y = plot.valToPos(point.plate_ma, "y", true);
  const radius = 8 * devicePixelRatio;
  ctx.setLineDash([]); // the rating's dashes are still set
  ctx.beginPath();
  ctx.arc(x, y, radius, 0, 2 * Math.PI);
  ctx.fillStyle = inks.face;
  ctx.fill();
  ctx.lineWidth = radius / 2;
  ctx.strokeStyle = inks.accent;
  ctx.stroke();
}

/** Draws into `box`, at its width. Call again after a change of size, colours or data; `destroy` the
 * plot that was there first. */
export function drawCurves(box: HTMLElement, data: Curves, height: number): uPlot {
  const inks = inksOf(box);
  const options: uPlot.Options = {
    width: box.clientWidth,
    height,
    cursor: { show: false },
    legend: { show: false },
    scales: {
      x: { time: false, range: [0, data.most.plate_v] },
      y: { range: [0, data.most.plate_ma] },
    },
    axes: [axis("Plate to cathode, V", inks), axis("Plate, mA", inks)],
    series: seriesOf(data, inks),
    hooks: {
      draw: [
        (plot) => {
          drawNames(plot, data, inks);
          drawIdle(plot, data, inks);
        },
      ],
    },
  };
  return new uPlot(options, joined(data), box);
}
