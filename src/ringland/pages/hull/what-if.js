"use strict";
// What-if on a hull's page: the pipeline's formula (exposure_ahead, hazard_ahead,
// option_outcome and chance_with_range in the Python sources) on the embedded draws, for one hull at a time.
(function () {
  var fleet = window.RINGLAND_FLEET;

  function doublesOf(base64) {
    var text = atob(base64);
    var view = new DataView(new ArrayBuffer(text.length)), values = [];
    for (var i = 0; i < text.length; i += 1) { view.setUint8(i, text.charCodeAt(i)); }
    for (var at = 0; at < text.length; at += 8) { values.push(view.getFloat64(at, true)); }
    return values;
  }

  function drawsOf(mode) {
    var values = doublesOf(mode.draws), rows = [], n = values.length / mode.columns;
    for (var r = 0; r < n; r += 1) {
      var row = values.slice(r * mode.columns, (r + 1) * mode.columns);
      rows.push({ shape: Math.exp(row[0]), scale: Math.exp(row[1]), effects: row.slice(2) });
    }
    return rows;
  }
  var modes = fleet.modes.map(function (mode) {
    return { names: mode.names, centre: mode.centre, step: mode.step, draws: drawsOf(mode),
      spreads: mode.spreads.map(function (spread) {
        return { column: spread.column, groups: spread.groups,
          variance: doublesOf(spread.variance), score: doublesOf(spread.score) };
      }) };
  });
  var nDraws = modes[0].draws.length;

  // What the hull's engine and dock bear beside like ones, by draw (group_spread in the
  // Python sources).
  function factorsOf(mode, groups) {
    return mode.draws.map(function (draw, i) {
      return mode.spreads.reduce(function (product, spread) {
        var name = groups[spread.column];
        var record = Object.prototype.hasOwnProperty.call(spread.groups, name) ?
          spread.groups[name] : [0, 0, 0];
        var before = 1 / spread.variance[i];
        var shape = before + record[0], rate = before + record[1];
        var logVariance = Math.log1p(1 / shape);
        var score = spread.score[(i + record[2]) % spread.score.length];
        return product * (shape / rate) *
          Math.exp(Math.sqrt(logVariance) * score - logVariance / 2);
      }, 1);
    });
  }

  function changed(effect, value) {
    var after = { set: effect.by, cap: Math.min(value, effect.by), scale: value * effect.by,
      add: value + effect.by }[effect.how];
    return Math.max(after, 0);
  }

  function valueAt(runH, name, held, now, usual) {
    function runningAt(hour) {
      return held.reduce(function (value, one) {
        return one.lastsH === null || hour <= one.lastsH ? changed(one.effect, value) : value;
      }, usual);
    }
    if (fleet.lookingBack.indexOf(name) < 0) { return runningAt(runH); }
    var edges = [0, runH];
    held.forEach(function (one) {
      if (one.lastsH !== null && one.lastsH < runH) { edges.push(one.lastsH); }
    });
    edges = ascending(edges);
    var mean = now * Math.max(0, 1 - runH / fleet.windowH);
    for (var i = 1; i < edges.length; i += 1) {
      var inside = Math.max(0, edges[i] - Math.max(edges[i - 1], runH - fleet.windowH));
      if (inside > 0) { mean += runningAt(edges[i]) * (inside / fleet.windowH); }
    }
    return mean;
  }

  function ascending(values) {
    return Array.from(new Set(values)).sort(function (a, b) { return a - b; });
  }

  function pieceEnds(corners, hours) {
    var ends = [];
    corners.forEach(function (corner) {
      for (var step = 0; step <= fleet.pieces; step += 1) {
        ends.push(corner + fleet.windowH * step / fleet.pieces);
      }
    });
    return ascending(ends).filter(function (end) { return end > 0 && end < hours; }).concat(hours);
  }

  function hazardByDraw(covariates, usual, groups, ageH, hours, actions) {
    var held = {}, corners = [];
    Object.keys(usual).forEach(function (name) { held[name] = []; });
    actions.forEach(function (action) {
      action.effects.forEach(function (effect) {
        (held[effect.covariate] = held[effect.covariate] || [])
          .push({ effect: effect, lastsH: action.lastsH });
        if (action.lastsH !== null) { corners.push(action.lastsH); }
      });
    });
    var names = Object.keys(held);
    var factors = modes.map(function (mode) { return factorsOf(mode, groups); });
    var total = new Float64Array(nDraws), start = 0;
    pieceEnds(names.length ? ascending(corners.concat(0)) : [], hours).forEach(function (end) {
      var there = Object.assign({}, covariates), middle = (start + end) / 2;
      names.forEach(function (name) {
        var now = covariates[name];
        if (now === undefined) { return; }
        there[name] = valueAt(middle, name, held[name], now, name in usual ? usual[name] : now);
      });
      addHazard(total, there, factors, ageH + Math.min(start, hours), ageH + Math.min(end, hours));
      start = end;
    });
    return total;
  }

  function addHazard(total, covariates, factors, from, to) {
    modes.forEach(function (mode, at) {
      var z = mode.names.map(function (name, j) {
        return (covariates[name] - mode.centre[j]) / mode.step[j];
      });
      mode.draws.forEach(function (draw, i) {
        var log = 0;
        for (var j = 0; j < z.length; j += 1) { log += draw.effects[j] * z[j]; }
        total[i] += (Math.pow(to / draw.scale, draw.shape) - Math.pow(from / draw.scale, draw.shape)) *
          Math.exp(log) * factors[at][i];
      });
    });
  }

  function quantile(sorted, share) { // linear between order statistics
    var at = (sorted.length - 1) * share, low = Math.floor(at);
    var high = Math.min(low + 1, sorted.length - 1);
    return sorted[low] + (sorted[high] - sorted[low]) * (at - low);
  }

  function whatIf(hull, actions) {
    var daysOff = 0, renews = false;
    actions.forEach(function (action) {
      daysOff += action.daysOff;
      renews = renews || action.renewsAge;
    });
    daysOff = Math.min(daysOff, fleet.horizonD);
    var hours = hull.useHD * (fleet.horizonD - daysOff);
    var burn = fleet.cruiseLH +
      (fleet.fullLH - fleet.cruiseLH) * hull.covariates.full_throttle_25h;
    var sure = daysOff * fleet.lostRentalDay;
    actions.forEach(function (action) {
      var heldH = action.lastsH === null ? hours : Math.min(hours, action.lastsH);
      sure += action.price + action.costPerD * fleet.horizonD + action.costPerL * burn * heldH;
    });
    var tail = (1 - fleet.confidence) / 2;
    var found = { sure: sure, low: Infinity, high: -Infinity };
    [{}].concat(hull.bounds).forEach(function (bound, i) {
      var now = Object.assign({}, hull.covariates, bound.covariates);
      var usual = Object.assign({}, hull.usual, bound.usual);
      var chances = hazardByDraw(now, usual, hull.groups, renews ? 0 : hull.ageH, hours, actions)
        .map(function (h) { return -Math.expm1(-h); });
      if (i === 0) {
        found.chance = chances.reduce(function (a, b) { return a + b; }, 0) / chances.length;
      }
      chances.sort();
      found.low = Math.min(found.low, quantile(chances, tail));
      found.high = Math.max(found.high, quantile(chances, 1 - tail));
    });
    found.low = Math.min(found.low, found.chance);
    found.high = Math.max(found.high, found.chance);
    found.cost = sure + found.chance * fleet.unplanned;
    return found;
  }

  function gradeAction(hull, aki, costPerL) {
    return { name: "fuel_grade", label: "Fill " + aki + " AKI", price: 0, costPerL: costPerL,
      costPerD: 0, daysOff: 0, lastsH: null, renewsAge: false,
      effects: [{ covariate: "shortfall_25h_on", how: "set",
        by: Math.max(0, hull.needAki - aki) }] };
  }


  // Figures as number_words.py writes them, in the shop's marks.
  function marked(value, digits) {
    var parts = value.toFixed(digits).split(".");
    parts[0] = parts[0].replace(/\B(?=(\d{3})+$)/g, fleet.marks[0]);
    return parts.join(fleet.marks[1]);
  }

  function percent(chance) {
    if (chance < 0.001) { return "under " + marked(0.1, 1) + "\u00a0%"; }
    if (chance > 0.995) { return "over 99\u00a0%"; }
    return marked(chance * 100, chance < 0.0995 ? 1 : 0) + "\u00a0%";
  }

  function withCurrency(amount) {
    var figure = marked(Math.abs(amount), 0), minus = amount < 0 ? "-" : "";
    if (fleet.moneyPlace === "after") { return minus + figure + " " + fleet.currency; }
    return fleet.currency.length === 1
      ? minus + fleet.currency + figure : fleet.currency + " " + minus + figure;
  }

  function money(amount) {
    if (amount > 0 && amount < 5) { return "under " + withCurrency(10); }
    var step = Math.abs(amount) < 1000 ? 10 : 100;
    return withCurrency(Math.round(amount / step) * step);
  }

  window.ringlandWhatIf = {
    whatIf: whatIf, gradeAction: gradeAction, money: money, percent: percent
  };

  // The form of this page.
  var form = document.getElementById("what-if");
  var holder = document.getElementById("what-if-figures");
  if (!form || !holder) { return; }
  var hull = JSON.parse(holder.textContent);

  function isMeant(action) {
    return Object.keys(action.onlyWhere).every(function (name) {
      return hull.covariates[name] === action.onlyWhere[name];
    });
  }

  function fillForm() {
    var grade = form.elements.grade;
    if (hull.needAki === null) {
      grade.closest("label").hidden = true;
      form.elements.extra.closest("label").hidden = true;
    } else {
      fleet.gradesAki.forEach(function (aki) {
        var name = aki + " AKI" + (aki >= hull.needAki ? ", meets the need" :
          ", " + marked(hull.needAki - aki, Number.isInteger(hull.needAki - aki) ? 0 : 1) +
          " below need");
        grade.add(new Option(name, String(aki)));
      });
    }
    var ticks = document.getElementById("what-if-actions");
    fleet.actions.filter(isMeant).forEach(function (action) {
      var label = document.createElement("label"), box = document.createElement("input");
      label.className = "tick";
      box.type = "checkbox";
      box.name = action.name;
      label.appendChild(box);
      label.appendChild(document.createTextNode(action.label));
      ticks.appendChild(label);
    });
  }

  function chosen() {
    var actions = [];
    if (form.elements.grade.value !== "") {
      actions.push(gradeAction(hull, Number(form.elements.grade.value),
        Math.max(0, Number(form.elements.extra.value) || 0) / fleet.litresPerUnit));
    }
    fleet.actions.forEach(function (action) {
      if (form.elements[action.name] && form.elements[action.name].checked) { actions.push(action); }
    });
    return actions;
  }

  var asNow = whatIf(hull, []);

  function show() {
    var actions = chosen(), then = whatIf(hull, actions);
    var said = actions.length
      ? "Chance in 30 days " + percent(then.chance) + " (" + percent(then.low) + " to " +
        percent(then.high) + ") instead of " + percent(asNow.chance) + ". Paid for sure " +
        money(then.sure) + "; expected cost in all " + money(then.cost) + " instead of " +
        money(asNow.cost) + ", " + (then.cost <= asNow.cost
          ? money(asNow.cost - then.cost) + " less." : money(then.cost - asNow.cost) + " more.")
      : "As it stands: chance in 30 days " + percent(asNow.chance) + " (" + percent(asNow.low) +
        " to " + percent(asNow.high) + "), expected cost of failures " + money(asNow.cost) + ".";
    document.getElementById("what-if-outcome").textContent = said;
  }

  form.addEventListener("submit", function (event) { event.preventDefault(); });
  // On "input", which reaches the form, and so the answer, after the price is set.
  form.elements.grade.addEventListener("input", function () {
    var aki = Number(form.elements.grade.value);
    form.elements.extra.value = form.elements.grade.value !== "" && hull.dockAki !== null &&
      aki > hull.dockAki ? Number((fleet.gradeCostPerL * fleet.litresPerUnit).toFixed(2)) : 0;
  });
  form.addEventListener("input", show);
  form.addEventListener("reset", function () { window.setTimeout(show, 0); });
  fillForm();
  show();
  document.getElementById("what-if-section").hidden = false;
})();
