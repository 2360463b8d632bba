// Prove: the chart again, before beside after, bias, each control, and a soak; what still lies outside.
import "../css/prove.css";
import { HandsInside } from "../hands";
import { useDraft, useResource } from "../store";
import type { Compare, JobAmp, Part, View } from "../types";
import { Choice } from "../ui/controls";
import { From, Panel as Frame } from "../ui/frame";
import { Badge } from "../ui/marks";
import { volts } from "../units";
import { GoOn } from "./go-on";
import { Bench, Tools } from "./measure";
import { OnOff } from "./measure-setup";
import { InTime, Margins, Output } from "./paper";
import { Checks, controls, Soak } from "./prove-checks";
import { BeforeAfter, Bias, outside, over } from "./prove-compare";
import type { Panel } from ".";

type Tab = "readings" | "compare" | "bias" | "controls" | "soak" | "margins" | "time" | "output";

function Prove({ view }: { view: View }) {
  const draft = useDraft<{ tab: Tab }>(`prove ${view.job}`, { tab: "readings" });
  const { tab } = draft.value;
  const compare = useResource<Compare>(`/api/jobs/${view.job}/compare`);
  const amp = useResource<JobAmp>(`/api/jobs/${view.job}/amp?as=repaired`);
  const parts = amp.data?.parts ?? [];
  const left = stillOutside(view, parts, compare.data);
  return (
    <Frame title="Prove" tools={<TabTools view={view} tab={tab} />}>
      <Outside view={view} left={left} />
      <div class="prove-bar">
        <Choice
          label="What to prove"
          hideLabel
          value={tab}
          onChoose={(next) => draft.set({ tab: next })}
          options={tabs(view, parts)}
        />
      </div>
      {tab === "readings" && (
        <HandsInside view={view} mode="live" does="take readings">
          <Bench view={view} phase="after" />
        </HandsInside>
      )}
      {tab === "compare" && <From of={compare}>{(data) => <BeforeAfter data={data} />}</From>}
      {tab === "bias" && <From of={compare}>{(data) => <Bias data={data} />}</From>}
      {tab === "controls" && <From of={amp}>{() => <Checks view={view} parts={parts} />}</From>}
      {tab === "soak" && <Soak view={view} />}
      {tab === "margins" && <Margins view={view} as="repaired" />}
      {tab === "output" && <Output view={view} as="repaired" />}
      {tab === "time" && <InTime view={view} as="repaired" />}
      <div class="prove-end">
        <GoOn view={view} from="prove" ready={!left.length} />
      </div>
    </Frame>
  );
}

/** What is done with it on has the switch at hand: switched on, it counts as charged. */
function TabTools({ view, tab }: { view: View; tab: Tab }) {
  if (tab === "readings") return <Tools view={view} phase="after" />;
  if (tab !== "controls" && tab !== "soak") return null;
  return (
    <div class="measure-tools">
      <OnOff view={view} />
    </div>
  );
}

function tabs(view: View, parts: Part[]): { value: Tab; words: string }[] {
  const all = controls(view, parts);
  const tried = all.filter(({ check }) => check && check.result !== "not tried").length;
  return [
    { value: "readings", words: `Readings ${view.readings.after.length}` },
    { value: "compare", words: "Before and after" },
    { value: "bias", words: "Bias" },
    { value: "controls", words: `Controls ${tried} of ${all.length}` },
    { value: "soak", words: "Soak" },
    { value: "margins", words: "Ratings" },
    { value: "time", words: "In time" },
    { value: "output", words: "Output" },
  ];
}

/* ---- what still lies outside ------------------------------------------------------------------------------ */

export function stillOutside(view: View, parts: Part[], compare: Compare | null): string[] {
  const places = (compare?.places ?? [])
    .filter(outside)
    .map(({ at, after, verdict }) => `${at} ${volts(after)} V, ${verdict}`);
  const tubes = (compare?.tubes ?? [])
    .filter(over)
    .map(
      ({ tube, percent_after, system }) =>
        `${tube} at ${Math.round(percent_after!)} % of its ${system ?? ""} rating`,
    );
  const poor = controls(view, parts)
    .filter(({ check }) => check?.result === "poor")
    .map(({ what, check }) => `${what}: ${check!.note ?? "poor"}`);
  const soak = view.soak?.result === "poor" ? ["the soak was poor"] : [];
  return [...places, ...tubes, ...poor, ...soak];
}

function Outside({ view, left }: { view: View; left: string[] }) {
  const read = view.readings.after.length;
  return (
    <div class="prove-outside" role="status">
      {left.length ? (
        <Badge shape="hazard" tone="hazard">
          <strong>Still outside:</strong> {left.join("; ")}
        </Badge>
      ) : read ? (
        <Badge shape="dot" tone="accent">
          Nothing that was read or tried lies outside
        </Badge>
      ) : (
        <Badge shape="ring">Nothing was read after the repair yet</Badge>
      )}
    </div>
  );
}

export const prove: Panel = {
  id: "prove",
  stage: "prove",
  title: "Prove",
  key: "8",
  view: Prove,
};
