// The foot pedal: any key of the keyboard that the technician chooses, since a pedal sends one.
import { useEffect, useLayoutEffect, useRef, useState } from "preact/hooks";
import { keyName } from "./keys";
import { PRESSES, type Press } from "./meter";
import { useDraft } from "./store";
import { Button } from "./ui/controls";

type Keys = Record<Press, string>;
const KEYS: Keys = { take: "PageDown", skip: "End", back: "PageUp", stop: "Escape" };
const HELD_MS = 700; // `take` held down as long is a foot that has frozen: stop

export const usePedalKeys = () => useDraft<Keys>("pedal", KEYS);

const typed = ({ key, target }: KeyboardEvent): boolean =>
  key.length === 1 && target instanceof HTMLElement && target.matches("input, textarea");

type Does = Partial<Record<Press, (() => void) | false>>;

/** While this is on screen the pedal does what `does` says, before any other key. */
export function usePedal(does: Does): void {
  const keys = usePedalKeys().value;
  const now = useRef({ does, keys });
  now.current = { does, keys };
  useEffect(() => {
    let down = 0;
    const hear = (event: KeyboardEvent) => {
      const { does, keys } = now.current;
      if (event.ctrlKey || event.metaKey || event.altKey || typed(event)) return;
      if (document.querySelector("dialog[open]")) return;
      const what = PRESSES.find((one) => keys[one] === event.key && does[one]);
      if (!what) return;
      event.preventDefault();
      event.stopPropagation();
      if (!event.repeat) {
        down = event.timeStamp;
        (does[what] as () => void)();
      } else if (does.stop && down && event.timeStamp - down > HELD_MS) {
        down = 0;
        does.stop();
      }
    };
    window.addEventListener("keydown", hear, true);
    return () => window.removeEventListener("keydown", hear, true);
  }, []);
}

/** Which key each press is: pressed here, it is taken. */
export function PedalForm() {
  const draft = usePedalKeys();
  const [asked, ask] = useState<Press | null>(null);
  useLayoutEffect(() => {
    if (!asked) return;
    const take = (event: KeyboardEvent) => {
      event.preventDefault();
      event.stopPropagation();
      const other = PRESSES.find((one) => one !== asked && draft.value[one] === event.key);
      draft.set({ [asked]: event.key, ...(other ? { [other]: draft.value[asked] } : {}) });
      ask(null);
    };
    window.addEventListener("keydown", take, true);
    return () => window.removeEventListener("keydown", take, true);
  }, [asked]);
  return (
    <fieldset class="pedal">
      <legend>Foot pedal: choose, then press the pedal or key</legend>
      {PRESSES.map((one) => (
        <Button key={one} pressed={asked === one} onClick={() => ask(asked === one ? null : one)}>
          {one}: {asked === one ? "press it now" : keyName(draft.value[one])}
        </Button>
      ))}
      <p class="note">Take held down stops as well. Esc always stops.</p>
    </fieldset>
  );
}
