"use strict";
// Finds hulls in the week's list: search, filter, sort, fold and links by hash, from disk.
(function () {
  var finder = document.getElementById("finder");
  var lists = Array.prototype.slice.call(document.querySelectorAll("table.hulls"));
  if (!finder || !lists.length) { return; }
  var KEYS = ["hull", "dock", "call", "sort"];
  var count = document.getElementById("finder-count");
  // A week in which no hull can be assessed has nothing to fold, and so no button.
  var fold = document.getElementById("fold") || document.createElement("button");
  var rows = [];
  lists.forEach(function (list) {
    rows = rows.concat(Array.prototype.slice.call(list.tBodies[0].rows));
  });
  var said = JSON.parse(finder.dataset.said); // the page brings the words
  var language = finder.dataset.language;
  var isOpen = false; // the user asked for the folded rows

  function filled(sentence, parts) {
    return sentence.replace(/\{(\w+)\}/g, function (_, name) { return parts[name]; });
  }

  function control(key) { return finder.elements[key]; }

  function plain(text) { return text.toLowerCase().replace(/[^0-9a-z\u00c0-\uffff]+/g, ""); }

  function isAsked() {
    return control("hull").value.trim() !== "" || control("dock").value !== "" ||
      control("call").value !== "";
  }

  function matches(row) {
    var wanted = control("hull").value.trim();
    var key = plain(wanted);
    return (wanted === "" || row.dataset.hull === wanted ||
        (key !== "" && plain(row.dataset.hull).indexOf(key) >= 0)) &&
      (control("dock").value === "" || row.dataset.dock === control("dock").value) &&
      (control("call").value === "" || row.dataset.call === control("call").value);
  }

  function isFolded(row) {
    if (isOpen || isAsked() || row.dataset.need === undefined) { return false; }
    return row.dataset.need === "none";
  }

  function number(row, key) {
    return row.dataset[key] === "" || row.dataset[key] === undefined
      ? -Infinity : Number(row.dataset[key]);
  }

  var ORDERS = {
    "": function (a, b) { return number(a, "rank") - number(b, "rank"); },
    chance: function (a, b) {
      return number(b, "chance") - number(a, "chance") || ORDERS[""](a, b);
    },
    hull: function (a, b) {
      return a.dataset.hull.localeCompare(b.dataset.hull, language, { numeric: true });
    },
    dock: function (a, b) {
      return a.dataset.dock.localeCompare(b.dataset.dock, language) || ORDERS[""](a, b);
    }
  };

  function show() {
    var order = ORDERS[control("sort").value] || ORDERS[""];
    var shown = 0, folded = 0;
    lists.forEach(function (list) {
      var body = list.tBodies[0];
      var own = Array.prototype.slice.call(body.rows).sort(order);
      var some = 0;
      own.forEach(function (row) {
        var fits = matches(row), away = fits && isFolded(row);
        row.classList.toggle("away", !fits || away);
        if (fits && !away) { shown += 1; some += 1; }
        if (away) { folded += 1; }
        body.appendChild(row);
      });
      list.closest("section").classList.toggle("away", some === 0 && isAsked());
    });
    count.textContent = filled(isAsked() ? said.match : folded ? said.some : said.all,
      { shown: shown, all: rows.length });
    fold.hidden = folded === 0 && !isOpen || isAsked();
    fold.setAttribute("aria-expanded", String(isOpen));
    fold.textContent = isOpen ? said.fold
      : filled(folded === 1 ? said.other : said.others, { n: folded });
  }

  function readHash() {
    var asked = new URLSearchParams(window.location.hash.slice(1));
    if (!KEYS.some(function (key) { return asked.has(key); })) { return false; }
    KEYS.forEach(function (key) {
      var value = asked.get(key) || "";
      var field = control(key);
      field.value = value;
      if (field.value !== value) { field.value = ""; } // not one of its choices
    });
    return true;
  }

  function writeHash() {
    var chosen = new URLSearchParams();
    KEYS.forEach(function (key) {
      if (control(key).value !== "") { chosen.set(key, control(key).value); }
    });
    var hash = chosen.toString();
    window.history.replaceState(null, "", hash ? "#" + hash : window.location.pathname);
  }

  finder.addEventListener("submit", function (event) {
    event.preventDefault();
    var first = rows.filter(function (row) { return !row.classList.contains("away"); });
    if (first.length === 1) { first[0].querySelector("a").click(); }
  });
  finder.addEventListener("input", function () { show(); writeHash(); });
  finder.addEventListener("reset", function () {
    window.setTimeout(function () { show(); writeHash(); }, 0);
  });
  fold.addEventListener("click", function () { isOpen = !isOpen; show(); });
  window.addEventListener("hashchange", function () { if (readHash()) { show(); } });

  var find = document.getElementById("find");
  find.hidden = false;
  var isLinked = readHash();
  show();
  if (isLinked) {
    find.open = true;
    finder.scrollIntoView();
    var hit = rows.filter(function (row) { return !row.classList.contains("away"); })[0];
    if (hit && control("hull").value) { hit.querySelector("a").focus(); }
  }
  document.documentElement.dataset.found = "yes";
})();
