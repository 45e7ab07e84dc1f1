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

  // Packed columns (packed_columns.py): steps in base64 VLQ, the number coding of source maps.
  var LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  var MORE = 32;

  function numbersOf(steps) {
    var numbers = [], last = 0, place = 1, number = 0;
    for (var i = 0; i < steps.length; i++) {
      if (steps[i] === ".") {
        numbers.push(null);
        continue;
      }
      var digit = LETTERS.indexOf(steps[i]);
      number += (digit % MORE) * place;
      place *= MORE;
      if (digit < MORE) {
        last += number % 2 ? -(number - 1) / 2 : number / 2;
        numbers.push(last);
        place = 1;
        number = 0;
      }
    }
    return numbers;
  }

  function columnOf(packed) {
    var kind = packed[0];
    if (kind === "led") {
      var tails = columnOf(["words", packed[2], packed[3]]);
      return numbersOf(packed[1]).map(function (head, i) {
        return head === null ? null : head + tails[i];
      });
    }
    return numbersOf(packed[kind === "words" ? 2 : 1]).map(function (number) {
      if (number === null) { return null; }
      if (kind === "words") { return packed[1][number]; }
      if (kind === "min") {
        return new Date(number * 60000).toISOString().slice(0, 16).replace("T", " ");
      }
      return number / kind;
    });
  }

  // A trace of a sketch takes its points from the page's tables (picture_sketch.py).
  function bound(trace, tables) {
    var from = trace.bind, table = tables[from.of];
    var own = Object.assign({}, trace, { x: [], y: [] });
    delete own.bind;
    if (!table || (from.where && !table[from.where[0]])) { return own; } // this page has none
    if (from.customdata) { own.customdata = []; }
    if (from.text) { own.text = []; }
    table[from.x].forEach(function (x, i) {
      if (from.where && table[from.where[0]][i] !== from.where[1]) { return; }
      [].concat(from.y).forEach(function (name) {
        var y = table[name][i];
        if (x === null || y === null) { return; }
        own.x.push(x);
        own.y.push(y);
        if (from.customdata) {
          own.customdata.push(from.customdata.map(function (of) { return table[of][i]; }));
        }
        if (from.text) { own.text.push(table[from.text][i]); }
      });
    });
    return own;
  }

  function sketched(sketch, packed) {
    var tables = {};
    Object.keys(packed).forEach(function (name) {
      tables[name] = {};
      Object.keys(packed[name]).forEach(function (column) {
        tables[name][column] = columnOf(packed[name][column]);
      });
    });
    return {
      data: sketch.data.map(function (trace) { return bound(trace, tables); })
        .filter(function (trace) { return trace.x.length; }),
      layout: sketch.layout
    };
  }

  function figureOf(holder) {
    var figure = JSON.parse(holder.textContent);
    if (holder.dataset.sketch) {
      figure = sketched(window.RINGLAND_SKETCHES[holder.dataset.sketch], figure);
    }
    if (isDark) {
      var text = JSON.stringify(figure);
      Object.keys(ON_DARK).forEach(function (colour) {
        text = text.split(colour).join(ON_DARK[colour]);
      });
      figure = JSON.parse(text);
    }
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

  function draw(plot) {
    if (plot.dataset.height) { return null; }
    if (plot.closest("details:not([open])")) { // closed again before the library came
      watcher.observe(plot);
      return null;
    }
    var figure = figureOf(document.querySelector('[data-chart="' + plot.id + '"]'));
    plot.dataset.height = figure.layout.height;
    var made = Plotly.newPlot(plot, figure.data, figure.layout, {
      displayModeBar: false, displaylogo: false, responsive: true, scrollZoom: false
    });
    if (plots.every(function (one) { return one.dataset.height; })) {
      document.documentElement.dataset.drawn = "yes";
    }
    return made;
  }

  function size(change) {
    plots.forEach(function (plot) {
      if (plot.dataset.height) { Plotly.relayout(plot, change(Number(plot.dataset.height))); }
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
  // The drawing library is as large as a hundred pages and takes most of a second of a phone: it
  // is read when a picture comes near or is unfolded, never before the page has answered.
  var plots = Array.prototype.slice.call(document.querySelectorAll(".plot"));
  var later = document.currentScript.dataset.later; // nothing where one file holds it all
  var sources = later ? later.split(" ") : [];
  var asked = null;

  function library() {
    asked = asked || Promise.all(sources.map(function (source) {
      return new Promise(function (resolve, reject) {
        var script = document.createElement("script");
        script.src = source;
        script.onload = resolve;
        script.onerror = reject;
        document.head.appendChild(script);
      });
    }));
    return asked;
  }

  var watcher = new IntersectionObserver(function (seen) {
    seen.forEach(function (one) {
      if (!one.isIntersecting) { return; }
      watcher.unobserve(one.target);
      library().then(function () { draw(one.target); });
    });
  }, { rootMargin: "400px" });
  plots.forEach(function (plot) { watcher.observe(plot); });

  window.ringlandDrawAll = function () {
    plots.forEach(function (plot) { // in a closed fold nothing is drawn
      for (var at = plot; at; at = at.parentElement) {
        if (at.tagName === "DETAILS") { at.open = true; }
      }
    });
    return library().then(function () { return Promise.all(plots.map(draw)); });
  };
  window.addEventListener("keydown", function (event) { // paper gets the pictures too
    if ((event.ctrlKey || event.metaKey) && event.key === "p" &&
        document.documentElement.dataset.drawn !== "yes") {
      event.preventDefault();
      window.ringlandDrawAll().then(function () { window.print(); });
    }
  });
})();
