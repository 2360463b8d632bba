import { render } from "preact";
import "./css/tokens.css";
import "./css/frame.css";
import "./css/controls.css";
import "./css/content.css";
import "./css/panels.css";
import "uplot/dist/uPlot.min.css";
import { startKeys } from "./keys";
import { Shell } from "./shell";
import { start } from "./store";

start(); // the theme is set before anything is painted: index.html has it block the first picture
startKeys();
render(<Shell />, document.getElementById("page")!);
