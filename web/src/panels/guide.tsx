// One hand on the probe: where it goes next, in letters to be read from two metres, spoken; taken by
// itself when the meter has settled.
import { useEffect, useRef } from "preact/hooks";
import { guide, lead, meter, practice, practise, press, wired } from "../meter";
import { usePedal, usePedalKeys } from "../pedal";
import { keyName } from "../keys";
import { hush, ready, said, speak, type Tone } from "../speech";
import { useDraft } from "../store";
import type { Chart, Guide, Part, Phase, View } from "../types";
import { Button, NumberField } from "../ui/controls";
import { Badge, Mark, type Shape, type Tone as Colour } from "../ui/marks";
import { readNumber, volts } from "../units";
import { SuspectList, VerdictWords, type Asked } from "./find-suspects";
import { PracticeBoard } from "./guide-practice";
import { VerdictMark } from "./measure-chart";
import { band, lineAt } from "./measure-readings";
import { where } from "./measure-probe";
import { bases, PlaceDrawing } from "./measure-socket";
import { MeterStatus, shows, useVoice, WireButton } from "./wire";

export interface GuidedProps {
  view: View;
  phase: Phase;
  chart: Chart;
  parts: Part[];
  asked: Asked;
}

/** The guide, where it leads in this job and phase. */
function useGuide({ view, phase }: GuidedProps) {
  const now = guide.value;
  const mine = now?.lead === "probe" && now.job === view.job && now.phase === phase ? now : null;
  const step = mine?.step ?? "none";
  const running = mine !== null && step !== "stopped" && step !== "done";
  return {
    mine,
    step,
    running,
    take: () => void (running ? press("take") : lead(view.job, { lead: "probe", phase })),
    skip: () => void press("skip"),
    back: () => void press("back"),
    stop: () => {
      hush();
      void press("stop");
    },
  };
}

type Led = ReturnType<typeof useGuide>;

/** Says what the guide has to say, once for each step of it. */
function useSpoken(mine: Guide | null): void {
  const { voice } = useVoice().value;
  const last = useRef(mine?.seq ?? -1); // what stood there before is not said again
  useEffect(() => {
    if (!mine || mine.seq === last.current) return;
    last.current = mine.seq;
    if (mine.say.length || mine.tone) void speak(mine.say, voice, mine.tone as Tone | null);
  }, [mine?.seq]);
  useEffect(() => {
    void ready(voice);
    return hush;
  }, []);
}

export function Guided(props: GuidedProps) {
  const led = useGuide(props);
  const { mine, running } = led;
  useSpoken(mine);
  usePedal({
    take: led.take,
    skip: running && led.skip,
    back: running && led.back,
    stop: running && led.stop,
  });
  return (
    <section class="guide" aria-label="Guided probing">
      <div class="guide-main">
        <Now led={led} {...props} />
        <Buttons led={led} />
        <p class="guide-said dim" aria-hidden="true">
          {said.value && `Said: ${said.value}`}
        </p>
      </div>
      <div class="guide-side">
        <Drawing mine={mine} {...props} />
        <div class="side-verdict" role="status">
          {props.asked.data && <VerdictWords of={props.asked.data} />}
        </div>
        <SuspectList asked={props.asked} slots={3} />
        <Last mine={mine} chart={props.chart} />
        <div class="row">
          <WireButton />
        </div>
      </div>
      {practice.value?.here && (
        <PracticeBoard view={props.view} chart={props.chart} parts={props.parts} />
      )}
    </section>
  );
}

/* ---- what is to be done now ------------------------------------------------------------------------ */

function Now({ led, ...props }: GuidedProps & { led: Led }) {
  const { mine, step } = led;
  if (mine?.trouble)
    return <Message shape="hazard" head="Not recorded" words={mine.trouble} tone="hazard" />;
  switch (step) {
    case "caution":
      return <Message shape="bolt" head="Before you go on" words={mine!.caution!} tone="hazard" />;
    case "stopped":
      return (
        <Message
          shape="hazard"
          head="Stopped. Hands out."
          words="Nothing is taken any more. Take begins anew; what was read stays."
          tone="hazard"
        />
      );
    case "done":
      return <Message shape="tick" head="Nothing left to ask" words={mine!.reason ?? ""} />;
    case "none":
      return (
        <Message
          shape="ring"
          head="The meter takes the readings"
          words="The next place is shown and spoken. Put the probe there; what has settled is taken by itself. Clip the black lead to the chassis with the amp switched off, then switch it on."
        />
      );
    default:
      return <Point mine={mine!} {...props} />;
  }
}

interface MessageProps {
  shape: Shape;
  head: string;
  words: string;
  tone?: Colour;
}

function Message({ shape, head, words, tone = "plain" }: MessageProps) {
  return (
    <div class={`guide-message ${tone}`} role={tone === "hazard" ? "alert" : "status"}>
      <p class="guide-head">
        <Mark shape={shape} /> {head}
      </p>
      <p class="guide-words">{words}</p>
    </div>
  );
}

const STEPS: Record<string, { shape: Shape; words: string; tone: Colour }> = {
  idle: { shape: "question", words: "working out where next", tone: "plain" },
  move: { shape: "ring", words: "put the probe there", tone: "plain" },
  settling: { shape: "question", words: "hold it", tone: "plain" },
  confirm: {
    shape: "hazard",
    words: "nothing there: is the probe on it? Take confirms",
    tone: "hazard",
  },
  taken: { shape: "dot", words: "taken", tone: "accent" },
};

const AGAIN = "this place again: lift the probe and put it back, or Take";

const size = (at: string): string => (at.length > 9 ? "small" : at.length > 5 ? "middle" : "");

function Point({ mine, view, chart, parts }: GuidedProps & { mine: Guide }) {
  const at = mine.point?.at ?? "";
  const line = at ? lineAt(chart, at) : null;
  const { shape, words, tone } = STEPS[mine.step ?? "idle"] ?? STEPS.idle!;
  return (
    <>
      <h2 class={`guide-at ${size(at)}`}>{at || "\u2026"}</h2>
      <p class="guide-where">
        {line && where(line, parts, chart)}
        {mine.point?.kind === "high" && (
          <Badge shape="bolt" tone="hazard">
            high voltage
          </Badge>
        )}
        {mine.point?.kind === "heater" && <Badge shape="question">heater: AC volts</Badge>}
      </p>
      <p class="guide-figure" aria-hidden="true">
        {wired() ? shows(meter.value) : "\u2013"}&nbsp;V{meter.value?.ac ? " AC" : ""}
        <span class="guide-expected">
          {line && line.shown !== null && `a good amp: ${band(line)}`}
        </span>
      </p>
      <p class="guide-step" role="status">
        <Badge shape={shape} tone={tone}>
          {mine.step === "move" && mine.last?.at === at ? AGAIN : words}
          {mine.step === "settling" && meter.value?.settled.words
            ? `: ${meter.value.settled.words}`
            : ""}
        </Badge>
      </p>
      <p class="guide-why">{mine.point?.why}</p>
      {wired() ? <Trouble /> : <Typed view={view} at={at} />}
    </>
  );
}

const Trouble = () => (
  <p class="guide-trouble" role="status">
    {meter.value?.status !== "reading" && <MeterStatus />}
  </p>
);

/** A meter without a wire: its figure by keyboard. */
function Typed({ view, at }: { view: View; at: string }) {
  const draft = useDraft(`guide typed ${view.job}`, { text: "" });
  const { text } = draft.value;
  const take = () => {
    if (readNumber(text).kind !== "number") return;
    void press("take", text.trim());
    draft.clear();
  };
  return (
    <NumberField
      label={`Read at ${at}`}
      unit="V"
      text={text}
      onInput={(next) => draft.set({ text: next })}
      onNumber={take}
      hint="No meter on a wire: Enter takes what is typed"
    />
  );
}

function Buttons({ led }: { led: Led }) {
  const keys = usePedalKeys().value;
  const { running, step } = led;
  return (
    <div class="guide-buttons">
      <Button kind="main" onClick={led.take}>
        {running ? (step === "caution" ? "Go on" : "Take") : "Begin"} ({keyName(keys.take)})
      </Button>
      <Button disabled={!running} onClick={led.skip}>
        Skip ({keyName(keys.skip)})
      </Button>
      <Button disabled={!running} onClick={led.back}>
        Back ({keyName(keys.back)})
      </Button>
      <Button kind="hazard" disabled={!running} onClick={led.stop}>
        Stop ({keyName(keys.stop)})
      </Button>
    </div>
  );
}

/* ---- beside it --------------------------------------------------------------------------------------- */

function Drawing({ mine, chart, parts }: GuidedProps & { mine: Guide | null }) {
  const at = mine?.point?.at;
  if (!at) return <div class="guide-drawing" />;
  return (
    <div class="guide-drawing">
      <PlaceDrawing
        at={at}
        probe={lineAt(chart, at).probe}
        known={bases(chart.lines)}
        parts={parts}
        onPin={practice.value?.here ? (place) => void practise({ probe: place }) : undefined}
      />
      {practice.value?.here && (
        <Button wide onClick={() => void practise({ probe: at })}>
          Probe on {at}
        </Button>
      )}
    </div>
  );
}

function Last({ mine, chart }: { mine: Guide | null; chart: Chart }) {
  const last = mine?.last;
  return (
    <p class="guide-last" role="status">
      {last && (
        <>
          {last.at} read {volts(last.volts)} V{" "}
          <VerdictMark verdict={lineAt(chart, last.at).verdict} />
          <span class="dim"> {mine.taken} taken</span>
        </>
      )}
    </p>
  );
}
