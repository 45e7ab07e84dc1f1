"use strict";
// Folds of a page: wide ones stand open on a laptop, a link to a folded place opens it, and paper
// shows everything.
(function () {
  var FOLDS = Array.prototype.slice.call(document.querySelectorAll("details"));
  if (window.matchMedia("(min-width: 1000px)").matches) {
    FOLDS.forEach(function (fold) {
      if (fold.matches(".wide, .half, .screen-wide")) { fold.open = true; }
    });
  }

  function openPlace() {
    var id = decodeURIComponent(window.location.hash.slice(1));
    var place = id && document.getElementById(id), inside = false;
    for (var at = place; at; at = at.parentElement) {
      if (at.tagName === "DETAILS" && !at.open) { at.open = inside = true; }
    }
    if (inside) { place.scrollIntoView(); }
  }

  var shut = [];
  window.addEventListener("beforeprint", function () {
    shut = FOLDS.filter(function (fold) { return !fold.open; });
    shut.forEach(function (fold) { fold.open = true; });
  });
  window.addEventListener("afterprint", function () {
    shut.forEach(function (fold) { fold.open = false; });
  });
  window.addEventListener("hashchange", openPlace);
  openPlace();
})();
