"use strict";
// Draws each picture from the figures embedded in its page; asks nothing of any network.
(function () {
  var isSheet = document.body.classList.contains("sheet");
  var PAPER = { width: isSheet ? 725 : 690, height: isSheet ? 182 : 400 };
  // px: what A4 and Letter hold between the margins; a hull's sheet is one page of either
  var ON_DARK = { // the same hues, lighter, so that they keep their contrast
    "#0072B2": "#5db7e8", "#B87400": "#f0b040", "#C2410C": "#ff8a5c",
    "#00795B": "#3dbe97", "#6B7780": "#a3b0b8", "#8A4B85": "#cc8fc6"
  };
  var isDark = window.matchMedia("(prefers-color-scheme: dark)").matches;
  var isNarrow = window.innerWidth < 600;
  var look = getComputedStyle(document.documentElement);
  var ink = look.getPropertyValue("--ink").trim();
  var grid = look.getPropertyValue("--grid").trim();
  var sheet = look.getPropertyValue("--sheet").trim();
  var family = getComputedStyle(document.body).fontFamily;

  function figureOf(holder) {
    var text = holder.textContent;
    if (isDark) {
      Object.keys(ON_DARK).forEach(function (colour) {
        text = text.split(colour).join(ON_DARK[colour]);
      });
    }
    var figure = JSON.parse(text);
    var layout = figure.layout;
    layout.font = Object.assign({}, layout.font, {
      color: ink, family: family, size: isNarrow ? 11 : 13
    });
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
    return figure;
  }

  function drawAll() {
    document.querySelectorAll("script[data-chart]").forEach(function (holder) {
      var figure = figureOf(holder);
      var plot = document.getElementById(holder.dataset.chart);
      plot.dataset.height = figure.layout.height;
      Plotly.newPlot(plot, figure.data, figure.layout, {
        displayModeBar: false, displaylogo: false, responsive: true, scrollZoom: false
      });
    });
    document.documentElement.dataset.drawn = "yes";
  }

  function size(change) {
    if (!window.Plotly) { return; }
    document.querySelectorAll(".plot").forEach(function (plot) {
      Plotly.relayout(plot, change(Number(plot.dataset.height)));
    });
  }

  window.addEventListener("beforeprint", function () {
    size(function (height) {
      var onPaper = { autosize: false, width: PAPER.width, height: Math.min(height, PAPER.height) };
      return isSheet
        ? Object.assign(onPaper, { "font.size": 6.5, "margin.t": 14, "margin.b": 14, "margin.l": 52 })
        : onPaper;
    });
  });
  window.addEventListener("afterprint", function () {
    size(function (height) {
      var back = { autosize: true, width: null, height: height };
      return isSheet
        ? Object.assign(back, { "font.size": isNarrow ? 11 : 13, "margin.t": 48, "margin.b": 36,
          "margin.l": isNarrow ? 48 : 70 })
        : back;
    });
  });
  // The fleet's list is to answer before the drawing library is read: that takes most of a
  // second on a slow laptop, so there it is read when the picture comes near, or in a pause.
  var PAUSE_MS = 3000;
  var later = document.currentScript.dataset.later;
  if (!later) {
    drawAll();
    return;
  }
  var isAsked = false;
  function drawLater() {
    if (isAsked) { return; }
    isAsked = true;
    var library = document.createElement("script");
    library.src = later;
    library.onload = drawAll;
    document.head.appendChild(library);
  }
  var watcher = new IntersectionObserver(function (seen) {
    if (seen.some(function (one) { return one.isIntersecting; })) { drawLater(); }
  }, { rootMargin: "400px" });
  document.querySelectorAll(".plot").forEach(function (plot) { watcher.observe(plot); });
  window.addEventListener("load", function () { window.setTimeout(drawLater, PAUSE_MS); });
})();
