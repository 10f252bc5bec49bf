// Draws every chart on the page from the JSON beside it, once the library is there.
"use strict";
document.addEventListener("DOMContentLoaded", () => {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  for (const place of document.querySelectorAll("[data-chart]")) {
    const spec = JSON.parse(document.getElementById(place.dataset.chart).textContent);
    const draw = () => {
      const ink = dark.matches ? "#f2efe8" : "#1d1b18";
      const line = dark.matches ? "#4b4740" : "#cfc9be";
      const layout = { ...spec.layout, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)" };
      layout.font = { ...layout.font, color: ink };
      layout.hoverlabel = { bgcolor: dark.matches ? "#201f1c" : "#ffffff", font: { color: ink } };
      for (const axis of Object.keys(layout).filter((key) => /^[xy]axis/.test(key))) {
        layout[axis] = { ...layout[axis], gridcolor: line, linecolor: line, zerolinecolor: line };
      }
      const data = spec.data.map((trace) => {
        if (!dark.matches) return trace;
        const swap = (part) => part && { ...part, color: part.color === "#3b3a37" ? ink : part.color === "#14557b" ? "#8cc4e6" : part.color };
        return { ...trace, line: swap(trace.line), marker: swap(trace.marker) };
      });
      Plotly.react(place, data, layout, spec.config);
    };
    place.hidden = false;
    const still = place.parentElement.querySelector("[data-still]");
    if (still) still.hidden = true;
    draw();
    dark.addEventListener("change", draw);
  }
});
