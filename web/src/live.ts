// What changes at the program, heard live. One tab holds the stream and tells the others: a browser
// allows few connections to one server, and a bench has many tabs.
import { request } from "./api";
import type { Guide, LiveMeter, Practice } from "./types";

export type Change =
  | { what: "fact"; job: number; fact: number; kind: string }
  | { what: "suspects"; job: number }
  | { what: "amp"; name: string }
  | ({ what: "meter" } & LiveMeter)
  | ({ what: "guide" } & Guide)
  | ({ what: "practice" } & Practice)
  | { what: "again" } // the stream (re)opened: anything may have changed meanwhile
  | { what: "gone" };

type Hear = (change: Change) => void;

const NAMES = ["fact", "suspects", "amp", "meter", "guide", "practice"] as const;

function hold(tell: Hear): Promise<never> {
  const open = () => {
    const stream = new EventSource("/api/events");
    for (const what of NAMES)
      stream.addEventListener(what, (event) =>
        tell({ what, ...JSON.parse((event as MessageEvent<string>).data) }),
      );
    stream.onopen = () => tell({ what: "again" });
    stream.onerror = () => {
      tell({ what: "gone" });
      if (stream.readyState !== EventSource.CLOSED) return;
      setTimeout(open, 2_000);
      request("/api/ping").catch(() => {}); // a stream does not say why it was refused; this does
    };
  };
  open();
  return new Promise<never>(() => {}); // held until the tab closes
}

export function startLive(hear: Hear): void {
  const others = "BroadcastChannel" in window ? new BroadcastChannel("gridleak.live") : null;
  const tell: Hear = (change) => {
    hear(change);
    others?.postMessage(change);
  };
  if (others) others.onmessage = (event: MessageEvent<Change>) => hear(event.data);
  if (others && navigator.locks) void navigator.locks.request("gridleak.live", () => hold(tell));
  else void hold(tell);
}
