"use strict";
// Shows the plan for the number of lift slots chosen; all of them are in the page.
(function () {
  var choice = document.getElementById("slots-choice");
  if (!choice) { return; }
  var field = choice.querySelector("select");
  var lines = Array.prototype.slice.call(document.querySelectorAll("#slots li"));
  function show() {
    lines.forEach(function (line) { line.hidden = line.dataset.slots !== field.value; });
  }
  field.addEventListener("change", show);
  window.addEventListener("beforeprint", function () {
    lines.forEach(function (line) { line.hidden = false; });
  });
  window.addEventListener("afterprint", show);
  choice.hidden = false;
  show();
})();
