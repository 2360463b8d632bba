// Take in: who brought what, what is wrong with it, what is to be kept; photos.
import { missing, NOTHING, TakeInForm, takeInBody, type TakeIn } from "./take-in-form";
import { record } from "../api";
import { go, say, useDraft } from "../store";
import type { View } from "../types";
import { Button } from "../ui/controls";
import { Panel as Frame, Section } from "../ui/frame";
import { Photos } from "./photos";
import type { Panel } from ".";

const asForm = (view: View): TakeIn => ({
  ...NOTHING,
  owner: view.owner,
  contact: view.contact ?? "",
  complaint: view.complaint,
  keep: view.keep ?? "",
  accessories: view.accessories ?? [],
  amp: view.amp.name,
  serial: view.serial ?? "",
  year: view.year ? String(view.year) : "",
});

function TakeInPanel({ view }: { view: View }) {
  const draft = useDraft<TakeIn>(`take in ${view.job}`, asForm(view));
  const lacks = missing(draft.value);
  const correct = (event: Event) => {
    event.preventDefault();
    if (lacks) return;
    void record(view.job, "take in", takeInBody(draft.value), { words: "take in" }).then(
      ({ fact }) => {
        draft.clear();
        say("Take in recorded.", { undo: { job: view.job, fact } });
      },
    );
  };
  return (
    <Frame title="Take in" lead={view.amp.story}>
      <form onSubmit={correct}>
        <TakeInForm draft={draft} />
        <div class="foot">
          <Button
            type="submit"
            kind={draft.touched ? "main" : "plain"}
            disabled={!draft.touched || !!lacks}
          >
            Record the changes
          </Button>
          {draft.touched && (
            <Button kind="quiet" onClick={draft.clear}>
              Forget the changes
            </Button>
          )}
          <span class="dim">{draft.touched ? lacks : ""}</span>
          {!draft.touched && (
            <Button kind="main" onClick={() => go("jobs", view.job, "make-safe")}>
              Make safe
            </Button>
          )}
        </div>
      </form>
      <Section title="Photos">
        <Photos view={view} />
      </Section>
    </Frame>
  );
}

export const takeIn: Panel = {
  id: "take-in",
  stage: "take in",
  title: "Take in",
  key: "1",
  view: TakeInPanel,
};
