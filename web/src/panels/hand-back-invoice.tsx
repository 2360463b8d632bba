// The invoice: its lines come from the decisions and the time that was kept.
import { record } from "../facts";
import { useDraft } from "../store";
import type { Shop, View } from "../types";
import { Button, NumberField } from "../ui/controls";
import { Section } from "../ui/frame";
import { money, readNumber } from "../units";
import { linesOf, minutesOf } from "./decide-estimate";
import { addUp, MoneyLines, typedLines, type TypedLine } from "./decide-lines";

interface Typed {
  lines: TypedLine[] | null; // null: as they follow from the decisions and the time
  tax: string;
}

function useInvoice(view: View, shop: Shop) {
  const { invoice, decisions } = view;
  const draft = useDraft<Typed>(`invoice ${view.job}`, {
    lines: null,
    tax: String(invoice?.tax_percent ?? shop.tax_percent),
  });
  const minutes = view.minutes || minutesOf(decisions);
  const worked = typedLines(linesOf(decisions, minutes, shop), shop.currency);
  const lines = draft.value.lines ?? (invoice ? typedLines(invoice.lines, shop.currency) : worked);
  const tax = readNumber(draft.value.tax);
  const percent = tax.kind === "number" ? tax.value : 0;
  return { draft, worked, lines, percent, sum: addUp(lines, percent, shop.currency) };
}

export function InvoiceForm({ view, shop }: { view: View; shop: Shop }) {
  const { draft, worked, lines, percent, sum } = useInvoice(view, shop);
  const { estimate, invoice } = view;
  const same = invoice !== null && !draft.touched;
  const more = estimate !== null && sum.total > estimate.total;
  const keep = () => {
    const body = { lines: sum.lines, tax_percent: percent, total: sum.total };
    const words = `invoice, ${money(sum.total, shop.currency)}`;
    void record(view.job, "invoice", body, { words });
    draft.clear();
  };
  return (
    <Section
      title="Invoice"
      aside={
        <Button kind="quiet" onClick={() => draft.set({ lines: worked })}>
          From decisions and time
        </Button>
      }
    >
      <MoneyLines
        label="Invoice"
        lines={lines}
        onChange={(next) => draft.set({ lines: next })}
        shop={shop}
        taxPercent={percent}
      />
      <div class="invoice-tax">
        <NumberField
          label="Tax"
          unit="%"
          text={draft.value.tax}
          onInput={(tax) => draft.set({ tax })}
          onNumber={() => {}}
        />
        <p class="invoice-estimate dim">
          {estimate && `The estimate was ${money(estimate.total, shop.currency)}.`}
          {more && ` This is ${money(sum.total - estimate.total, shop.currency)} more.`}
        </p>
      </div>
      <div class="foot">
        <Button kind={same ? "plain" : "main"} disabled={same || !!sum.problem} onClick={keep}>
          {invoice ? "Record the new invoice" : "Record the invoice"}
        </Button>
        <span class="dim">{same ? "Recorded." : (sum.problem ?? "Not recorded yet.")}</span>
      </div>
    </Section>
  );
}
