// The estimate for the owner, and the owner's word on it.
import { record } from "../facts";
import { useDraft } from "../store";
import type { Acceptance, Decision, MoneyLine, Shop, View } from "../types";
import { Button, Choice, Field, Link } from "../ui/controls";
import { Section } from "../ui/frame";
import { Badge } from "../ui/marks";
import { money } from "../units";
import { addUp, MoneyLines, typedLines, type TypedLine } from "./decide-lines";

/** "40 min", "1 h 5 min". */
export function hours(minutes: number): string {
  const whole = Math.floor(minutes / 60);
  const rest = Math.round(minutes % 60);
  return [whole && `${whole} h`, (rest || !whole) && `${rest} min`].filter(Boolean).join(" ");
}

export const labour = (minutes: number, shop: Shop): MoneyLine => ({
  text: `Labour, ${hours(minutes)}`,
  amount: Math.round((minutes * shop.hourly) / 60),
});

const partLine = ({ part, substitute, what, action, price }: Decision): MoneyLine => ({
  text: [part, substitute ?? what ?? action].join(" "),
  amount: price ?? 0,
});

/** The lines that follow from the decisions: each part that costs something, then the labour. */
export function linesOf(decisions: Decision[], minutes: number, shop: Shop): MoneyLine[] {
  const parts = decisions.filter(({ price }) => price !== null && price > 0).map(partLine);
  return minutes > 0 ? [...parts, labour(minutes, shop)] : parts;
}

export const minutesOf = (decisions: Decision[]): number =>
  decisions.reduce((sum, { minutes }) => sum + (minutes ?? 0), 0);

interface Typed {
  lines: TypedLine[] | null; // null: as they follow from the decisions
  note: string;
}

interface Props {
  view: View;
  shop: Shop;
}

const OLDER = "Recorded, but a decision is newer. “From the decisions” works it out again.";

export function Estimate({ view, shop }: Props) {
  const { estimate, decisions } = view;
  const draft = useDraft<Typed>(`estimate ${view.job}`, {
    lines: null,
    note: estimate?.note ?? "",
  });
  const worked = typedLines(linesOf(decisions, minutesOf(decisions), shop), shop.currency);
  const lines =
    draft.value.lines ?? (estimate ? typedLines(estimate.lines, shop.currency) : worked);
  const sum = addUp(lines, shop.tax_percent, shop.currency);
  const same = estimate !== null && !draft.touched;
  const older = decisions.some(({ fact }) => fact > (estimate?.fact ?? 0));
  const keep = () => {
    const note = draft.value.note.trim();
    const body = { lines: sum.lines, total: sum.total, ...(note && { note }) };
    void record(view.job, "estimate", body, {
      words: `estimate, ${money(sum.total, shop.currency)}`,
    });
    draft.clear();
  };
  return (
    <Section
      title="Estimate"
      aside={
        <Button kind="quiet" onClick={() => draft.set({ lines: worked })}>
          From the decisions
        </Button>
      }
    >
      <MoneyLines
        label="Estimate"
        lines={lines}
        onChange={(next) => draft.set({ lines: next })}
        shop={shop}
        taxPercent={shop.tax_percent}
      />
      {shop.hourly === 0 && (
        <p class="dim">
          The shop has no hourly rate yet: <Link to="shop">write it down</Link>, and the labour is
          worked out.
        </p>
      )}
      <Field
        label="Note for the owner"
        value={draft.value.note}
        onInput={(note) => draft.set({ note })}
      />
      <div class="foot">
        <Button kind={same ? "plain" : "main"} disabled={same || !!sum.problem} onClick={keep}>
          {estimate ? "Record the new estimate" : "Record the estimate"}
        </Button>
        <span class="dim">
          {same ? (older ? OLDER : "Recorded.") : (sum.problem ?? "Not recorded yet.")}
        </span>
      </div>
    </Section>
  );
}

/* ---- the owner's word ------------------------------------------------------------------------------------ */

const WAYS = ["in person", "telephone", "letter", "message"] as const;

interface Word {
  by: string;
  how: (typeof WAYS)[number] | null;
  note: string;
}

export function OwnersWord({ view, shop }: Props) {
  const draft = useDraft<Word>(`acceptance ${view.job}`, { by: view.owner, how: null, note: "" });
  const { by, how, note } = draft.value;
  const keep = (accepted: boolean) => {
    const body = {
      accepted,
      by: by.trim(),
      ...(how && { how }),
      ...(note.trim() && { note: note.trim() }),
    };
    const words = `estimate ${accepted ? "accepted" : "declined"} by ${by.trim()}`;
    void record(view.job, "acceptance", body, { words });
    draft.clear();
  };
  return (
    <Section title="The owner’s word">
      <Given view={view} shop={shop} />
      <Choice
        label="How it came"
        options={WAYS}
        value={how}
        onChoose={(way) => draft.set({ how: way })}
      />
      <div class="pair">
        <Field label="From whom" value={by} onInput={(text) => draft.set({ by: text })} />
        <Field
          label="With what condition, if any"
          value={note}
          onInput={(text) => draft.set({ note: text })}
        />
      </div>
      <div class="row">
        <Button kind="main" disabled={!view.estimate || !by.trim()} onClick={() => keep(true)}>
          Accepted
        </Button>
        <Button disabled={!view.estimate || !by.trim()} onClick={() => keep(false)}>
          Declined
        </Button>
        <span class="dim">{view.estimate ? "" : "Record the estimate first."}</span>
      </div>
    </Section>
  );
}

const said = ({ accepted, by, how, note }: Acceptance): string =>
  [`${accepted ? "Accepted" : "Declined"} by ${by}`, how, note].filter(Boolean).join(", ");

/** What the word was given on has changed since? Then it is no word on this estimate. */
function outdated({ estimate, acceptance }: View): boolean {
  return !!estimate && !!acceptance && estimate.fact > acceptance.fact;
}

function Given({ view, shop }: Props) {
  const { acceptance, estimate } = view;
  if (!acceptance)
    return (
      <p class="owners-word">
        <span class="dim">Not given yet.</span>
      </p>
    );
  const shape = outdated(view) ? "hazard" : acceptance.accepted ? "tick" : "dash";
  const tone = outdated(view) ? "hazard" : acceptance.accepted ? "accent" : "plain";
  return (
    <p class="owners-word">
      <Badge shape={shape} tone={tone}>
        {said(acceptance)}
        {outdated(view)
          ? ". The estimate changed since: ask again."
          : estimate && `: ${money(estimate.total, shop.currency)}`}
      </Badge>
    </p>
  );
}
