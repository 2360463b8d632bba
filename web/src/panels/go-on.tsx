// The end of a step: what comes next, recorded as the technician's own word.
import { record } from "../facts";
import { go } from "../store";
import { STAGES, type Stage, type View } from "../types";
import { Button } from "../ui/controls";

interface Props {
  view: View;
  from: Exclude<Stage, "done">;
  ready?: boolean; // the step looks finished: the button stands out
  children?: string; // beside the button
}

const title = (stage: string): string => stage.charAt(0).toUpperCase() + stage.slice(1);

/** Moves the job on to the step after `from`, unless it is further already, and opens that step. */
export function GoOn({ view, from, ready, children }: Props) {
  const next = STAGES[STAGES.indexOf(from) + 1];
  if (!next) return null;
  const move = () => {
    const reached = view.stage === "done" ? STAGES.length : STAGES.indexOf(view.stage);
    if (reached <= STAGES.indexOf(from))
      void record(view.job, "stage", { stage: next }, { words: `on to ${next}` });
    go("jobs", view.job, next.replace(" ", "-"));
  };
  return (
    <div class="go-on">
      <Button kind={ready ? "main" : "plain"} onClick={move}>
        {`On to: ${title(next)}`}
      </Button>
      {children && <span class="dim">{children}</span>}
    </div>
  );
}
