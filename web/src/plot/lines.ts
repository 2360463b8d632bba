// Lines over one axis, with one scale at the left and perhaps another at the right, by uPlot.
import uPlot from "uplot";
import { axis, inksOf, type Ink, type Inks } from "./inks";

export interface Axis {
  label: string;
  log?: boolean;
  range?: [number, number];
  write?: (value: number) => string;
}

export interface Line {
  name: string; // "" keeps it out of the legend
  values: (number | null)[];
  ink: Ink;
  width?: number;
  dash?: boolean;
  right?: boolean; // by the scale at the right
  between?: boolean; // fills the space to the line before it
}

export interface Drawing {
  x: Axis & { values: number[] };
  left: Axis;
  right?: Axis;
  lines: Line[];
  marks?: { x: number; words: string }[]; // upright lines
  levels?: { y: number; words: string }[]; // level ones, by the scale at the left
}

const DASH = [8, 6];

/** 20, 50, 100, 200 ...: what stands at a logarithmic axis within its range. */
function decades([low, high]: [number, number]): number[] {
  const wide = Math.log10(high / low) > 4;
  const found: number[] = [];
  for (let ten = 10 ** Math.floor(Math.log10(low)); ten <= high; ten *= 10)
    for (const step of wide ? [1] : [1, 2, 5])
      if (ten * step >= low * 0.999 && ten * step <= high * 1.001) found.push(ten * step);
  return found;
}

function scaleOf({ log, range }: Axis): uPlot.Scale {
  return {
    time: false,
    ...(log ? { distr: 3 as const } : {}),
    ...(range ? { range: () => range } : {}),
  };
}

const plain = (value: number): string => String(value).replace("-", "\u2212");

function axisOf(of: Axis, inks: Inks, more: uPlot.Axis = {}): uPlot.Axis {
  const { log, write = plain } = of;
  return {
    ...axis(of.label, inks),
    values: (_: uPlot, splits: number[]) => splits.map(write),
    ...(log
      ? {
          splits: (plot: uPlot, at: number) => {
            const scale = plot.scales[at === 0 ? "x" : (more.scale ?? "left")]!;
            return decades([scale.min!, scale.max!]);
          },
          filter: (_: uPlot, splits: number[]) => splits,
        }
      : {}),
    ...more,
  };
}

const seriesOf = (line: Line, inks: Inks): uPlot.Series => ({
  scale: line.right ? "right" : "left",
  stroke: inks[line.ink],
  width: line.width ?? 2,
  dash: line.dash ? DASH : undefined,
  spanGaps: true,
  points: { show: false },
});

/** Between two lines that are the ends of one: what lies between them is theirs too. */
const bandsOf = (lines: Line[], inks: Inks): uPlot.Band[] =>
  lines.flatMap((line, at) =>
    line.between
      ? [
          {
            series: [at + 1, at] as [number, number],
            fill: inks[line.ink].replace(/^rgb\((.*)\)$/, "rgba($1, 0.25)"),
          },
        ]
      : [],
  );

function drawMarks(plot: uPlot, drawing: Drawing, inks: Inks): void {
  const { marks } = drawing;
  const { ctx, bbox } = plot;
  const ratio = devicePixelRatio;
  ctx.font = `${14 * ratio}px B612, system-ui, sans-serif`;
  for (const [row, { x, words }] of (marks ?? []).entries()) {
    const at = plot.valToPos(x, "x", true);
    if (!(at >= bbox.left && at <= bbox.left + bbox.width)) continue;
    ctx.strokeStyle = inks.edge;
    ctx.lineWidth = ratio;
    ctx.setLineDash([4 * ratio, 4 * ratio]);
    ctx.beginPath();
    ctx.moveTo(at, bbox.top);
    ctx.lineTo(at, bbox.top + bbox.height);
    ctx.stroke();
    ctx.fillStyle = inks.dim;
    const right = at > bbox.left + bbox.width * 0.7;
    ctx.textAlign = right ? "right" : "left";
    ctx.fillText(words, at + (right ? -6 : 6) * ratio, bbox.top + (18 + 20 * row) * ratio);
  }
  drawLevels(plot, drawing, inks);
  ctx.setLineDash([]);
}

function drawLevels(plot: uPlot, { levels }: Drawing, inks: Inks): void {
  const { ctx, bbox } = plot;
  for (const { y, words } of levels ?? []) {
    const at = plot.valToPos(y, "left", true);
    ctx.strokeStyle = inks.hazard;
    ctx.lineWidth = 2 * devicePixelRatio;
    ctx.setLineDash([8 * devicePixelRatio, 6 * devicePixelRatio]);
    ctx.beginPath();
    ctx.moveTo(bbox.left, at);
    ctx.lineTo(bbox.left + bbox.width, at);
    ctx.stroke();
    ctx.fillStyle = inks.hazard;
    ctx.textAlign = "right";
    ctx.fillText(words, bbox.left + bbox.width - 6 * devicePixelRatio, at - 6 * devicePixelRatio);
  }
}

/** Draws into `box`, at its width. Call again after a change of size, colours or data; `destroy` the
 * plot that was there first. */
export function drawLines(box: HTMLElement, drawing: Drawing, height: number): uPlot {
  const inks = inksOf(box);
  const { x, left, right, lines } = drawing;
  const options: uPlot.Options = {
    width: box.clientWidth,
    height,
    cursor: { show: false },
    legend: { show: false },
    scales: {
      x: scaleOf(x),
      left: scaleOf(left),
      ...(right ? { right: scaleOf(right) } : {}),
    },
    axes: [
      axisOf(x, inks),
      axisOf(left, inks, { scale: "left" }),
      ...(right ? [axisOf(right, inks, { scale: "right", side: 1, grid: { show: false } })] : []),
    ],
    series: [{}, ...lines.map((line) => seriesOf(line, inks))],
    bands: bandsOf(lines, inks),
    hooks: { draw: [(plot) => drawMarks(plot, drawing, inks)] },
  };
  return new uPlot(options, [x.values, ...lines.map(({ values }) => values)], box);
}
