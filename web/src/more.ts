// What the first picture does without, in one file: together they compress best.
export { Evidence } from "./panels/evidence";
export { Guided } from "./panels/guide";
export { DrainWatch } from "./panels/guide-drain";
export { PracticeBoard } from "./panels/guide-practice";
export { Fuses } from "./panels/paper-fuse";
export { Output } from "./panels/paper-output";
export { Margins } from "./panels/paper-margins";
export { Swap } from "./panels/paper-swap";
export { InTime } from "./panels/paper-time";
export { WireButton } from "./panels/wire";
