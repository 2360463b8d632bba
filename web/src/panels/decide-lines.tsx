// Lines of money: an estimate or an invoice, typed in the shop's own coin, added up as one types.
import { useId } from "preact/hooks";
import type { MoneyLine, Shop } from "../types";
import { Button } from "../ui/controls";
import { coins, inCoins, money } from "../units";

export interface TypedLine {
  text: string;
  amount: string; // as typed: "12.50"
}

/** An amount in the smallest coin; null where what is typed is none. */
export function readMoney(text: string, currency: string): number | null {
  const plain = text.trim().replace(/\s/g, "").replace(/^[−–]/, "-").replace(",", ".");
  if (!/^-?(\d+\.?\d*|\.\d+)$/.test(plain)) return null;
  return coins(Number(plain), currency);
}

export const typedLines = (lines: MoneyLine[], currency: string): TypedLine[] =>
  lines.map(({ text, amount }) => ({ text, amount: inCoins(amount, currency) }));

const blank = ({ text, amount }: TypedLine): boolean => !text.trim() && !amount.trim();

export interface Sum {
  lines: MoneyLine[];
  net: number;
  tax: number;
  total: number;
  problem: string | null; // what keeps it from being recorded
}

/** What the typed lines come to, with tax on top. Empty lines count for nothing. */
export function addUp(typed: TypedLine[], taxPercent: number, currency: string): Sum {
  const lines: MoneyLine[] = [];
  let problem: string | null = null;
  for (const line of typed.filter((one) => !blank(one))) {
    const amount = readMoney(line.amount, currency);
    if (amount === null) problem ??= `“${line.text || line.amount}” has no amount yet.`;
    else if (!line.text.trim()) problem ??= "An amount has no words yet.";
    else lines.push({ text: line.text.trim(), amount });
  }
  if (!lines.length) problem ??= "There is no line yet.";
  const net = lines.reduce((sum, { amount }) => sum + amount, 0);
  const tax = Math.round((net * taxPercent) / 100);
  return { lines, net, tax, total: net + tax, problem };
}

interface Props {
  label: string;
  lines: TypedLine[];
  onChange: (lines: TypedLine[]) => void;
  shop: Shop;
  taxPercent: number;
}

export function MoneyLines({ label, lines, onChange, shop, taxPercent }: Props) {
  const sum = addUp(lines, taxPercent, shop.currency);
  const set = (at: number, change: Partial<TypedLine>) =>
    onChange(lines.map((line, index) => (index === at ? { ...line, ...change } : line)));
  return (
    <div class="money" role="group" aria-label={label}>
      {lines.map((line, at) => (
        <Line
          key={at}
          line={line}
          number={at + 1}
          currency={shop.currency}
          onChange={(change) => set(at, change)}
          onRemove={() => onChange(lines.filter((_, index) => index !== at))}
        />
      ))}
      <div class="money-foot">
        <Button kind="quiet" onClick={() => onChange([...lines, { text: "", amount: "" }])}>
          Add a line
        </Button>
        <dl class="money-sum">
          {taxPercent > 0 && (
            <div>
              <dt>Tax {taxPercent} %</dt>
              <dd>{money(sum.tax, shop.currency)}</dd>
            </div>
          )}
          <div class="money-total">
            <dt>Total</dt>
            <dd>{money(sum.total, shop.currency)}</dd>
          </div>
        </dl>
      </div>
    </div>
  );
}

interface LineProps {
  line: TypedLine;
  number: number;
  currency: string;
  onChange: (change: Partial<TypedLine>) => void;
  onRemove: () => void;
}

function Line({ line, number, currency, onChange, onRemove }: LineProps) {
  const id = useId();
  const bad =
    !blank(line) && line.amount.trim() !== "" && readMoney(line.amount, currency) === null;
  return (
    <div class="money-line">
      <input
        value={line.text}
        aria-label={`Line ${number}, for what`}
        autocomplete="off"
        onInput={(event) => onChange({ text: event.currentTarget.value })}
      />
      <input
        class="money-amount"
        value={line.amount}
        inputMode="decimal"
        aria-label={`Line ${number}, amount in ${currency}`}
        aria-invalid={bad ? true : undefined}
        aria-describedby={bad ? id : undefined}
        autocomplete="off"
        onInput={(event) => onChange({ amount: event.currentTarget.value })}
      />
      <Button kind="quiet" label={`Take out line ${number}`} onClick={onRemove}>
        {"\u00d7"}
      </Button>
      {bad && (
        <span id={id} class="unseen">
          not an amount
        </span>
      )}
    </div>
  );
}
