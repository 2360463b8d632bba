// One part: what is to be done with it, why, and with what.
import { record } from "../facts";
import { useKeys } from "../keys";
import { leadWords } from "../parts";
import { useDraft, useResource, type Draft } from "../store";
import type { Decision, Shop, Substitutes, View } from "../types";
import { Button, Choice, Field, NumberField } from "../ui/controls";
import { From } from "../ui/frame";
import { inCoins, quantity, readNumber, trade, volts } from "../units";
import { useTried } from "./paper";
import { plain } from "./paper-words";
import { readMoney } from "./decide-lines";
import type { Candidate } from "./decide-parts";

const ACTIONS: Decision["action"][] = ["replace", "leave", "clean", "test"];
const REASONS: Decision["reason"][] = [
  "safety",
  "failing",
  "reliability",
  "originality",
  "owner's wish",
];

interface Typed {
  action: Decision["action"] | null;
  reason: Decision["reason"] | null;
  what: string;
  substitute: string;
  price: string;
  minutes: string;
  bag: "yes" | "no";
  note: string;
}

function typedOf({ decision, start }: Candidate, currency: string): Typed {
  const { action, reason, what } = decision ?? start;
  const price = decision?.price ?? null;
  return {
    action,
    reason,
    what: what ?? "",
    substitute: decision?.substitute ?? "",
    price: price === null ? "" : inCoins(price, currency),
    minutes: decision?.minutes ? String(decision.minutes) : "",
    bag: decision?.bag === false ? "no" : "yes",
    note: decision?.note ?? "",
  };
}

function bodyOf(part: string, typed: Typed, currency: string): Record<string, unknown> {
  const body: Record<string, unknown> = { part, action: typed.action, reason: typed.reason };
  for (const key of ["what", "note"] as const) if (typed[key].trim()) body[key] = typed[key].trim();
  const price = readMoney(typed.price, currency);
  const minutes = readNumber(typed.minutes);
  if (minutes.kind === "number") body.minutes = Math.round(minutes.value);
  if (typed.action === "leave") return body;
  if (price !== null) body.price = price;
  if (typed.action !== "replace") return body;
  if (typed.substitute.trim()) body.substitute = typed.substitute.trim();
  body.bag = typed.bag === "yes";
  return body;
}

/** What is missing or wrong, in one sentence; null where it can be recorded. */
function lacks(typed: Typed, currency: string): string | null {
  if (!typed.action) return "What is to be done with it?";
  if (!typed.reason) return "For which reason?";
  if (typed.price.trim() && readMoney(typed.price, currency) === null)
    return "The price is not an amount.";
  const minutes = readNumber(typed.minutes);
  if (minutes.kind !== "empty" && (minutes.kind !== "number" || minutes.value < 0))
    return "The minutes are not a number.";
  return null;
}

interface Props {
  view: View;
  shop: Shop;
  candidate: Candidate;
  onNext: () => void;
}

function useDecision({ view, shop, candidate, onNext }: Props) {
  const { name, decision } = candidate;
  const draft = useDraft<Typed>(`decide ${view.job} ${name}`, typedOf(candidate, shop.currency));
  const { value: typed } = draft;
  const missing = lacks(typed, shop.currency);
  const keep = () => {
    if (missing) return;
    void record(view.job, "decision", bodyOf(name, typed, shop.currency), {
      words: `${name}: ${typed.action}`,
      replaces: decision?.fact ?? null,
    });
    draft.clear();
    onNext();
  };
  useKeys(`Part ${name}`, [
    ...ACTIONS.map((action) => ({
      key: action[0]!,
      does: action,
      run: () => draft.set({ action }),
    })),
    { key: "Enter", does: "record it and go to the next", run: keep },
  ]);
  return { draft, missing, keep };
}

export function DecideForm(props: Props) {
  const { view, shop, candidate } = props;
  const { draft, missing, keep } = useDecision(props);
  const { value: typed, set } = draft;
  return (
    <div class="decide-form">
      <Head candidate={candidate} />
      <Choice
        label="What is to be done"
        options={ACTIONS}
        value={typed.action}
        onChoose={(action) => set({ action })}
      />
      <Choice
        label="Because of"
        options={REASONS}
        value={typed.reason}
        onChoose={(reason) => set({ reason })}
      />
      <div class="pair">
        <Field
          label="What is wrong with it"
          value={typed.what}
          onInput={(what) => set({ what })}
          onEnter={keep}
        />
        <Field label="Note" value={typed.note} onInput={(note) => set({ note })} onEnter={keep} />
      </div>
      {typed.action === "replace" && <Substitute view={view} name={candidate.name} draft={draft} />}
      {typed.action && typed.action !== "leave" && (
        <Cost draft={draft} shop={shop} onEnter={keep} />
      )}
      <div class="foot">
        <Button kind={draft.touched ? "main" : "plain"} disabled={!!missing} onClick={keep}>
          {candidate.decision ? "Record the change" : "Record, next part"}
        </Button>
        <span class="dim">{missing ?? (draft.touched ? "Not recorded yet." : "")}</span>
      </div>
    </div>
  );
}

function Head({ candidate: { name, part, why } }: { candidate: Candidate }) {
  const words = [part?.what, part?.material, part?.rating, leadWords(part)];
  return (
    <>
      <div class="part-head">
        <h2>{name}</h2>
        <span class="part-value">{part?.value}</span>
        <span class="dim">{words.filter(Boolean).join(", ")}</span>
      </div>
      <ul class="decide-why">
        {why.map((one) => (
          <li key={one}>{one}</li>
        ))}
      </ul>
    </>
  );
}

/* ---- what goes in ------------------------------------------------------------------------------------- */

interface PartOf {
  view: View;
  name: string;
  draft: Draft<Typed>;
}

function Substitute({ view, name, draft }: PartOf) {
  const found = useResource<Substitutes>(
    `/api/jobs/${view.job}/substitute?part=${encodeURIComponent(name)}`,
  );
  return (
    <div class="substitute">
      <Field
        label="Put in"
        value={draft.value.substitute}
        onInput={(substitute) => draft.set({ substitute })}
        hint="As ordered: 22n 630 V film, axial"
      />
      <From of={found} lines={2}>
        {(proposed) => <Proposals view={view} proposed={proposed} draft={draft} />}
      </From>
    </div>
  );
}

/** "At idle 212 V across it and 0.4 W in it. ..." */
function meets({ across, burns, keep }: Substitutes): string {
  const facts = [
    across !== null && `${volts(Math.abs(across))} V across it`,
    burns !== null && burns > 0.001 && `${quantity(burns, "W")} in it`,
  ].filter(Boolean);
  return [facts.length && `At idle ${facts.join(", ")}.`, keep].filter(Boolean).join(" ");
}

interface ProposalsProps {
  view: View;
  proposed: Substitutes;
  draft: Draft<Typed>;
}

function Proposals({ view, proposed, draft }: ProposalsProps) {
  const tried = useTried(view.job);
  const tab = useDraft(`decide tab ${view.job}`, { tab: "parts" });
  const tryIt = ({ value, volts: rating }: Substitutes["choices"][number]) => {
    const { part } = proposed;
    const change = `${part}=${trade(value!)}${rating ? `,${rating}V` : ""}`;
    const others = tried.value.changes.filter((one) => !one.startsWith(`${part}=`));
    tried.set({ changes: [...others, change] });
    tab.set({ tab: "swap" });
  };
  return (
    <div class="proposals">
      <p class="dim">
        {meets(proposed)} {proposed.difference && plain(proposed.difference)}
      </p>
      {proposed.effects?.length ? (
        <p class="dim">
          The first choice:{" "}
          {proposed.effects
            .map(
              ({ what, in: unit, before, after }) =>
                `${what} ${quantity(before, unit ?? "")} \u2192 ${quantity(after, unit ?? "")}`,
            )
            .join("; ")}
          .
        </p>
      ) : null}
      <ul>
        {proposed.choices.map((choice) => (
          <li key={choice.text}>
            <Button
              pressed={draft.value.substitute === choice.text}
              onClick={() => draft.set({ substitute: choice.text })}
            >
              {choice.text}
            </Button>
            {choice.value !== null && (
              <Button
                kind="quiet"
                label={`Try on paper: ${choice.text}`}
                onClick={() => tryIt(choice)}
              >
                Try on paper
              </Button>
            )}
            <span class="dim">{choice.note}</span>
          </li>
        ))}
      </ul>
    </div>
  );
}

interface CostProps {
  draft: Draft<Typed>;
  shop: Shop;
  onEnter: () => void;
}

function Cost({ draft, shop, onEnter }: CostProps) {
  const { value: typed, set } = draft;
  return (
    <div class="pair">
      {typed.action === "replace" && (
        <Choice
          label="The old part goes in the bag"
          value={typed.bag}
          onChoose={(bag) => set({ bag })}
          options={[
            { value: "yes", words: "Yes" },
            { value: "no", words: "No" },
          ]}
        />
      )}
      <NumberField
        label="Price of the part"
        unit={shop.currency}
        text={typed.price}
        onInput={(price) => set({ price })}
        onNumber={onEnter}
      />
      <NumberField
        label="Work"
        unit="min"
        text={typed.minutes}
        onInput={(minutes) => set({ minutes })}
        onNumber={onEnter}
      />
    </div>
  );
}
