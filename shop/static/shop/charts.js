// Draws every chart on the page from the JSON beside it. The large library is asked for only after the page, with
// the server's own still pictures, has been shown; where it does not come, the stills stay.
"use strict";
const night = { "#3b3a37": "#f2efe8", "#14557b": "#8cc4e6", "#9c2a12": "#ff9d85" };
const { library } = document.currentScript.dataset;
function drawCharts() {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  for (const place of document.querySelectorAll("[data-chart]")) {
    const spec = JSON.parse(document.getElementById(place.dataset.chart).textContent);
    const draw = () => {
      const ink = dark.matches ? "#f2efe8" : "#1d1b18";
      const line = dark.matches ? "#4b4740" : "#cfc9be";
      const layout = { ...spec.layout, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)" };
      layout.font = { ...layout.font, color: ink };
      layout.hoverlabel = { ...layout.hoverlabel, bgcolor: dark.matches ? "#201f1c" : "#ffffff", font: { color: ink } };
      for (const axis of Object.keys(layout).filter((key) => /^[xy]axis/.test(key))) {
        layout[axis] = { ...layout[axis], gridcolor: line, linecolor: line, zerolinecolor: line };
      }
      if (dark.matches) {
        const swap = (part) => part && { ...part, color: night[part.color] || part.color };
        layout.annotations = (layout.annotations || []).map((note) => ({ ...note, font: swap(note.font) }));
        layout.shapes = (layout.shapes || []).map((shape) => ({ ...shape, line: swap(shape.line) }));
      }
      const data = spec.data.map((trace) => {
        if (!dark.matches) return trace;
        const repainted = { ...trace };
        for (const part of ["line", "marker"]) {
          if (trace[part]) repainted[part] = { ...trace[part], color: night[trace[part].color] || trace[part].color };
        }
        if (trace.fillcolor) repainted.fillcolor = "rgba(140, 196, 230, 0.25)";
        return repainted;
      });
      Plotly.react(place, data, layout, spec.config);
    };
    place.hidden = false;
    const still = place.parentElement.querySelector("[data-still]");
    if (still) still.hidden = true;
    draw();
    dark.addEventListener("change", draw);
  }
}
addEventListener("load", () => {
  if (!document.querySelector("[data-chart]")) return;
  const script = document.createElement("script");
  script.src = library;
  script.addEventListener("load", drawCharts);
  requestAnimationFrame(() => setTimeout(() => document.head.append(script)));
});
