// The shop: what stands on its papers, and the devices that may join the bench.
import { useState } from "preact/hooks";
import { ApiError, request } from "../api";
import { refresh, say, useDraft, useResource } from "../store";
import type { Fault, Shop } from "../types";
import { Button, Choice, Field, NumberField } from "../ui/controls";
import { From, Panel, Problem, Section } from "../ui/frame";
import { coins, inCoins, readNumber } from "../units";
import { Devices } from "./devices";
import type { Page } from ".";

/** As typed: numbers stay text until they are saved. */
interface Typed {
  name: string;
  address: string;
  contact: string;
  currency: string;
  tax: string;
  hourly: string;
  paper: "A4" | "letter";
}

const typedOf = (shop: Shop): Typed => ({
  name: shop.name,
  address: shop.address,
  contact: shop.contact,
  currency: shop.currency,
  tax: shop.tax_percent ? String(shop.tax_percent) : "",
  hourly: shop.hourly ? inCoins(shop.hourly, shop.currency) : "",
  paper: shop.paper,
});

const numberOf = (text: string): number => {
  const typed = readNumber(text);
  return typed.kind === "number" ? typed.value : 0;
};

const shopOf = ({ tax, hourly, ...typed }: Typed, before: Shop): Shop => ({
  ...before,
  ...typed,
  currency: typed.currency.trim().toUpperCase(),
  tax_percent: numberOf(tax),
  hourly: coins(numberOf(hourly), typed.currency.trim().toUpperCase()),
});

function ShopPage() {
  const shop = useResource<Shop>("/api/shop");
  return (
    <Panel title="Shop" lead="What stands on estimates, invoices and reports.">
      <From of={shop} lines={5}>
        {(found) => <Particulars shop={found} />}
      </From>
      <Section title="Other devices at the bench">
        <Devices />
      </Section>
    </Panel>
  );
}

function Particulars({ shop }: { shop: Shop }) {
  const draft = useDraft<Typed>("shop", typedOf(shop));
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const { value: typed, set } = draft;

  async function save(): Promise<void> {
    try {
      await request<Shop>("/api/shop", { method: "PUT", body: shopOf(typed, shop) });
      draft.clear();
      setFaults(null);
      refresh((path) => path === "/api/shop");
      say("Shop saved.");
    } catch (error) {
      setFaults((error as ApiError).faults);
    }
  }

  return (
    <form onSubmit={(event) => (event.preventDefault(), void save())}>
      <div class="shop">
        <Field label="Name" value={typed.name} onInput={(name) => set({ name })} />
        <Field label="Contact" value={typed.contact} onInput={(contact) => set({ contact })} />
        <Field
          label="Address"
          lines={3}
          value={typed.address}
          onInput={(address) => set({ address })}
        />
        <div>
          <Money typed={typed} set={set} onEnter={() => void save()} />
          <Choice
            label="Paper"
            options={["A4", "letter"] as const}
            value={typed.paper}
            onChoose={(paper) => set({ paper })}
          />
        </div>
      </div>
      <Problem faults={faults} />
      <div class="foot">
        <Button type="submit" kind={draft.touched ? "main" : "plain"} disabled={!draft.touched}>
          Save
        </Button>
        {draft.touched && (
          <Button kind="quiet" onClick={draft.clear}>
            Forget the changes
          </Button>
        )}
      </div>
    </form>
  );
}

interface MoneyProps {
  typed: Typed;
  set: (change: Partial<Typed>) => void;
  onEnter: () => void;
}

function Money({ typed, set, onEnter }: MoneyProps) {
  return (
    <div class="triple">
      <Field
        label="Currency"
        hint="Three letters: EUR"
        value={typed.currency}
        onInput={(currency) => set({ currency })}
      />
      <NumberField
        label="An hour costs"
        unit={typed.currency.trim().toUpperCase()}
        text={typed.hourly}
        onInput={(hourly) => set({ hourly })}
        onNumber={onEnter}
      />
      <NumberField
        label="Tax"
        unit="%"
        text={typed.tax}
        onInput={(tax) => set({ tax })}
        onNumber={onEnter}
      />
    </div>
  );
}

export const shopPage: Page = { id: "shop", title: "Shop", key: "s", view: ShopPage };
