"use strict";
// Draws each picture from the figures embedded in its page; asks nothing of any network.
(function () {
  function draw() {
    var look = getComputedStyle(document.documentElement);
    var ink = look.getPropertyValue("--ink").trim();
    var grid = look.getPropertyValue("--grid").trim();
    var sheet = look.getPropertyValue("--sheet").trim();
    var family = getComputedStyle(document.body).fontFamily;
    var isNarrow = window.innerWidth < 600;
    document.querySelectorAll("script[data-chart]").forEach(function (holder) {
      var figure = JSON.parse(holder.textContent);
      var layout = figure.layout;
      layout.font = Object.assign({}, layout.font, { color: ink, family: family, size: isNarrow ? 11 : 13 });
      layout.hoverlabel = { bgcolor: sheet, bordercolor: grid, font: { color: ink } };
      Object.keys(layout).forEach(function (key) {
        if (/^[xy]axis\d*$/.test(key)) {
          layout[key].gridcolor = grid;
          layout[key].linecolor = grid;
          layout[key].automargin = true;
        }
      });
      if (isNarrow) {
        layout.margin = Object.assign({}, layout.margin, { l: 48, r: 8 });
      }
      Plotly.newPlot(holder.dataset.chart, figure.data, layout, {
        displayModeBar: false, displaylogo: false, responsive: true, scrollZoom: false
      });
    });
    document.documentElement.dataset.drawn = "yes";
  }
  function redraw() {
    document.querySelectorAll(".plot").forEach(function (plot) { Plotly.Plots.resize(plot); });
  }
  window.addEventListener("beforeprint", redraw);
  window.addEventListener("afterprint", redraw);
  draw();
})();
