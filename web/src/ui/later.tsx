// What is brought in when it is first wanted: the bench opens sooner without it.
import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";
import { Wait } from "./frame";

/** `lines` of space are kept while it comes. */
export function later<P extends object>(
  bring: () => Promise<ComponentType<P>>,
  lines = 8,
): ComponentType<P> {
  let Made: ComponentType<P> | null = null;
  return function Later(props: P) {
    const [, again] = useState(0);
    useEffect(() => {
      if (Made) return;
      let gone = false;
      void bring().then((made) => {
        Made = made;
        if (!gone) again(1);
      });
      return () => {
        gone = true;
      };
    }, []);
    return Made ? <Made {...props} /> : lines ? <Wait lines={lines} /> : null;
  };
}
