// Take in: who brought what, what is wrong with it, what is to be kept; photos.
import { record } from "../facts";
import { useDraft, useResource } from "../store";
import type { Fact, View } from "../types";
import { Button } from "../ui/controls";
import { From, Panel as Frame, Section } from "../ui/frame";
import { when } from "../units";
import { GoOn } from "./go-on";
import { Photos } from "./photos";
import { missing, NOTHING, TakeInForm, takeInBody, type TakeIn } from "./take-in-form";
import type { Panel } from ".";

/** The form as it was recorded last. The amp's name in the library stands in the fact alone. */
function recorded(facts: Fact[]): TakeIn {
  const replaced = new Set(facts.filter(({ undone }) => !undone).map(({ replaces }) => replaces));
  const last = facts
    .filter(({ id, kind, undone }) => kind === "take in" && !undone && !replaced.has(id))
    .at(-1);
  const body = (last?.body ?? {}) as Partial<TakeIn>;
  return { ...NOTHING, ...body, year: body.year ? String(body.year) : "" };
}

function TakeInPanel({ view }: { view: View }) {
  const facts = useResource<Fact[]>(`/api/jobs/${view.job}/facts`);
  return (
    <Frame
      title="Take in"
      lead={`${view.amp.title ?? view.amp.name}, on the bench since ${when(view.opened)}.`}
    >
      <From of={facts} lines={16}>
        {(all) => <Correct view={view} start={recorded(all)} />}
      </From>
      <Section title="Photos">
        <Photos view={view} />
      </Section>
      <GoOn view={view} from="take in" ready={view.stage === "take in"} />
    </Frame>
  );
}

function Correct({ view, start }: { view: View; start: TakeIn }) {
  const draft = useDraft<TakeIn>(`take in ${view.job}`, start);
  const lacks = missing(draft.value);
  const correct = (event: Event) => {
    event.preventDefault();
    if (lacks) return;
    const typed = draft.value;
    draft.clear();
    void record(view.job, "take in", takeInBody(typed), { words: "take in" }).then(
      (fact) => fact === null && draft.set(typed), // refused: what was typed comes back
    );
  };
  return (
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
        <span class="dim">{draft.touched ? lacks : "Nothing changed."}</span>
      </div>
    </form>
  );
}

export const takeIn: Panel = {
  id: "take-in",
  stage: "take in",
  title: "Take in",
  key: "1",
  view: TakeInPanel,
};
