// Measure: the voltage chart to type into, or one probe point at a time; the suspects move beside it.
import "../css/measure.css";
import "../css/guide.css";
import { HandsInside } from "../hands";
import { useKeys } from "../keys";
import { useDraft, useResource } from "../store";
import type { Chart, JobAmp, Phase, View } from "../types";
import { Choice } from "../ui/controls";
import { From, Panel as Frame } from "../ui/frame";
import { isPlace } from "./evidence-words";
import { useSuspects } from "./find-suspects";
import { GoOn } from "./go-on";
import { ReadingChart } from "./measure-chart";
import { PasteDialog, useColumn } from "./measure-paste";
import { ProbePoint, useWalk } from "./measure-probe";
import { useMeter, useReadings, useTest, withRead } from "./measure-readings";
import { MainsAndMeter, OnOff } from "./measure-setup";
import { Evidence, Guided } from "./live-panels";
import { MeasureSide } from "./measure-side";
import type { Panel } from ".";

type Mode = "chart" | "point" | "guided" | "other";

const useMode = (view: View, phase: Phase) =>
  useDraft<{ mode: Mode }>(`measure ${view.job} ${phase}`, { mode: "chart" });

export function useChart(view: View, phase: Phase) {
  const { meter } = useMeter().value;
  return useResource<Chart>(
    `/api/jobs/${view.job}/chart?phase=${phase}&meter=${encodeURIComponent(meter)}`,
  );
}

function Measure({ view }: { view: View }) {
  return (
    <Frame title="Measure" tools={<Tools view={view} phase="before" />}>
      <HandsInside view={view} mode="live" does="take readings">
        <Bench view={view} phase="before" />
      </HandsInside>
      <GoOn view={view} from="measure">
        When the suspects have settled, or no reading would tell more.
      </GoOn>
    </Frame>
  );
}

export function Tools({ view, phase }: { view: View; phase: Phase }) {
  const draft = useMode(view, phase);
  const { mode } = draft.value;
  useKeys("Readings", [
    {
      key: "p",
      does: mode === "chart" ? "one point at a time" : "the whole chart",
      run: () => draft.set({ mode: mode === "chart" ? "point" : "chart" }),
    },
  ]);
  return (
    <div class="measure-tools">
      <OnOff view={view} />
      <MainsAndMeter view={view} phase={phase} />
      <Choice
        label="How to read"
        hideLabel
        value={mode}
        onChoose={(next) => draft.set({ mode: next })}
        options={[
          { value: "chart", words: "Chart" },
          { value: "point", words: "One point" },
          { value: "guided", words: "Guided" },
          { value: "other", words: "Other" },
        ]}
      />
    </div>
  );
}

/** The readings of one phase: the chart or the point in hand, and the suspects beside it. */
export function Bench({ view, phase }: { view: View; phase: Phase }) {
  const chart = useChart(view, phase);
  const amp = useResource<JobAmp>(
    `/api/jobs/${view.job}/amp?as=${phase === "before" ? "found" : "repaired"}`,
  );
  const asked = useSuspects(view, phase);
  const readings = useReadings(view, phase);
  const column = useColumn(view);
  const walk = useWalk(view, phase);
  const draft = useMode(view, phase);
  const { mode } = draft.value;
  const parts = amp.data?.parts ?? [];
  const shared = { view, readings, parts };
  const test = useTest(view);
  const probeAt = (at: string) => {
    if (isPlace(at)) walk.set({ at });
    else test.set({ at, value: "" });
    draft.set({ mode: isPlace(at) ? "point" : "other" });
  };
  return (
    <div class={`measure ${mode}`}>
      <div class="measure-main">
        <From of={chart} lines={12}>
          {(given) => {
            const found = withRead(given, readings);
            return (
              <>
                {mode === "other" ? (
                  <Evidence view={view} phase={phase} asked={asked} />
                ) : mode === "guided" ? (
                  <Guided view={view} phase={phase} chart={found} parts={parts} asked={asked} />
                ) : mode === "chart" ? (
                  <ReadingChart
                    {...shared}
                    chart={found}
                    onColumn={(text, from) =>
                      column.set(text ? { text, from, open: true } : { open: true })
                    }
                  />
                ) : (
                  <ProbePoint {...shared} chart={found} asked={asked} />
                )}
                <PasteDialog view={view} lines={found.lines} readings={readings} />
              </>
            );
          }}
        </From>
      </div>
      {(mode === "chart" || mode === "point") && (
        <MeasureSide
          view={view}
          asked={asked}
          phase={phase}
          chart={chart.data}
          onProbe={mode === "chart" ? probeAt : undefined}
        />
      )}
    </div>
  );
}

export const measure: Panel = {
  id: "measure",
  stage: "measure",
  title: "Measure",
  key: "4",
  view: Measure,
};
