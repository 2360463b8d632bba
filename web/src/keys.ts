// The keyboard. Panels and pages say which single keys they answer to; the keys work while no field
// is being typed into, and can be switched off as a whole (WCAG 2.1.4).
import { signal } from "@preact/signals";
import { useLayoutEffect, useRef } from "preact/hooks";

export interface Key {
  key: string; // as KeyboardEvent.key says it: "n", "ArrowDown", "?"
  does: string;
  run: () => void;
}

interface Group {
  title: string;
  keys: Key[];
}

const SWITCH = "gridleak.keys";

function storedOn(): boolean {
  try {
    return localStorage.getItem(SWITCH) !== "off";
  } catch {
    return true;
  }
}

export const singleKeys = signal(storedOn());

export function setSingleKeys(on: boolean): void {
  singleKeys.value = on;
  try {
    localStorage.setItem(SWITCH, on ? "on" : "off");
  } catch {
    // no storage: until the tab closes
  }
}

/** The groups now on screen, the innermost last: it answers first. */
export const groups = signal<Group[]>([]);

export function useKeys(title: string, keys: Key[]): void {
  const group = useRef<Group>({ title, keys });
  group.current.keys = keys; // the handlers see the newest state without registering anew
  useLayoutEffect(() => {
    const mine = group.current;
    groups.value = [...groups.peek(), mine];
    return () => {
      groups.value = groups.peek().filter((other) => other !== mine);
    };
  }, [title]);
}

const typing = (target: EventTarget | null): boolean =>
  target instanceof HTMLElement &&
  (target.isContentEditable ||
    target.matches("textarea, select, input:not([type=radio], [type=checkbox], [type=button])"));

// Enter and Space press what has the focus, whatever else they mean here.
const presses = ({ key, target }: KeyboardEvent): boolean =>
  (key === "Enter" || key === " ") &&
  target instanceof HTMLElement &&
  target.closest("button, a, summary") !== null;

function press(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  if (typing(event.target) || presses(event) || document.querySelector("dialog[open]")) return;
  if (!singleKeys.value && event.key !== "Escape") return;
  for (const group of [...groups.value].reverse())
    for (const key of group.keys)
      if (key.key === event.key) {
        event.preventDefault();
        return key.run();
      }
}

export const startKeys = (): void => window.addEventListener("keydown", press);

const NAMES: Record<string, string> = {
  ArrowUp: "\u2191",
  ArrowDown: "\u2193",
  ArrowLeft: "\u2190",
  ArrowRight: "\u2192",
  " ": "Space",
  Escape: "Esc",
};
export const keyName = (key: string): string => NAMES[key] ?? key;
