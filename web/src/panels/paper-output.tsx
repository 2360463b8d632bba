// The output stage: its load line at full drive, power before clipping, distortion, the wrong speaker.
import { useMemo } from "preact/hooks";
import type { Drawing } from "../plot/lines";
import { useDraft, useResource } from "../store";
import type { Output as Stage } from "../types";
import { Choice } from "../ui/controls";
import { From, Table } from "../ui/frame";
import { Badge } from "../ui/marks";
import { Plot } from "../ui/plot";
import { quantity, sentence, volts } from "../units";
import { Keep, Share, type PaperProps } from "./paper";
import { plain } from "./paper-words";

const PLOTS = ["Load line", "Speaker", "Distortion"] as const;
type Which = (typeof PLOTS)[number];

export function Output({ view, as }: PaperProps) {
  const draft = useDraft<{ plot: Which; speaker: string }>("output", {
    plot: "Load line",
    speaker: "as rated",
  });
  const { plot, speaker } = draft.value;
  const ohms = speaker === "as rated" ? "" : `&speaker=${speaker}`;
  const found = useResource<Stage>(`/api/jobs/${view.job}/output?as=${as}${ohms}`);
  return (
    <>
      <div class="row in-time">
        <Choice
          label="Show"
          value={plot}
          onChoose={(next) => draft.set({ plot: next })}
          options={PLOTS}
        />
        <Choice
          label="Speaker, ohms"
          value={speaker}
          onChoose={(next) => draft.set({ speaker: next })}
          options={["as rated", "2", "4", "8", "16"]}
        />
      </div>
      <From of={found} lines={10}>
        {(data) => <Found view={view} data={data} which={plot} />}
      </From>
    </>
  );
}

function drawingOf(data: Stage, which: Which): Drawing {
  if (which === "Distortion")
    return {
      x: { label: "Watts", values: data.levels.map(({ watts }) => watts) },
      left: { label: "Distortion, %" },
      right: { label: "Plate, % of its rating" },
      lines: [
        {
          name: "distortion",
          values: data.levels.map((one) => one.distortion_percent),
          ink: "accent",
          width: 3,
        },
        {
          name: "plate",
          values: data.levels.map((one) => one.plate_percent),
          ink: "edge",
          dash: true,
          right: true,
        },
      ],
    };
  if (which === "Speaker")
    return {
      x: { label: "Part of a cycle", values: data.speaker_v.map((_, at) => at / 64) },
      left: { label: "Speaker, V" },
      lines: [{ name: "", values: data.speaker_v, ink: "accent", width: 3 }],
    };
  const path = data.line.plate_v
    .map((plate_v, at) => ({ plate_v, plate_ma: data.line.plate_ma[at]! }))
    .sort((a, b) => a.plate_v - b.plate_v);
  return {
    x: { label: "Plate to cathode, V", values: path.map(({ plate_v }) => plate_v) },
    left: { label: "Plate, mA" },
    lines: [{ name: "", values: path.map((one) => one.plate_ma), ink: "accent", width: 3 }],
    marks: [{ x: data.line.point_v, words: `idle, ${volts(data.line.point_ma)} mA` }],
  };
}

interface FoundProps {
  view: PaperProps["view"];
  data: Stage;
  which: Which;
}

function Found({ view, data, which }: FoundProps) {
  const drawing = useMemo(() => drawingOf(data, which), [data, which]);
  const words = `${quantity(data.watts, "W")} before it clips, class ${data.class}, ${data.distortion_percent.toFixed(1)} % distortion, into ${quantity(data.speaker_ohms, "ohm")}`;
  return (
    <>
      <Plot
        drawing={drawing}
        height={320}
        label={`${which} of the output stage. The figures stand below.`}
      />
      <p class="paper-right">{words}</p>
      <p>{sentence(plain(data.why))}</p>
      {data.remarks.map((one) => (
        <p key={one}>
          <Badge shape="hazard" tone="hazard">
            {plain(one)}
          </Badge>
        </p>
      ))}
      <Table
        caption="From a tenth to full drive"
        rows={data.levels}
        rowKey={({ drive_v }) => drive_v}
        empty=""
        columns={[
          { title: "Drive", kind: "number", cell: (one) => `${volts(one.drive_v)} V` },
          { title: "Out", kind: "number", cell: (one) => quantity(one.watts, "W") },
          {
            title: "Distortion",
            kind: "number",
            cell: (one) => `${one.distortion_percent.toFixed(1)} %`,
          },
          { title: "Supply", kind: "number", cell: (one) => `${volts(one.supply_v)} V` },
          { title: "Plate", cell: (one) => <Share percents={[one.plate_percent]} /> },
        ]}
      />
      <Keep view={view} what="Output stage" lines={[words, ...data.remarks.map(plain)]} />
    </>
  );
}
