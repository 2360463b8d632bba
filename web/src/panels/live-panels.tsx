// The panels that the meter's stream drives, brought in when they are first shown.
import type { ComponentType } from "preact";
import { later } from "../ui/later";
import type { EvidenceProps } from "./evidence";
import type { GuidedProps } from "./guide";
import type { DrainWatchProps } from "./guide-drain";
import type { BoardProps } from "./guide-practice";

export const Guided: ComponentType<GuidedProps> = later(
  async () => (await import("../more")).Guided,
);
export const Evidence: ComponentType<EvidenceProps> = later(
  async () => (await import("../more")).Evidence,
);
export const DrainWatch: ComponentType<DrainWatchProps> = later(
  async () => (await import("../more")).DrainWatch,
);
export const PracticeBoard: ComponentType<BoardProps> = later(
  async () => (await import("../more")).PracticeBoard,
);
export const WireButton: ComponentType<object> = later(
  async () => (await import("../more")).WireButton,
  0,
);
