"use strict";
// What-if on a hull's page: finds the answer the week wrote for a choice (what_if_form.py), adds
// the price of the litres, and fills the sentences given with it.
(function () {
  var form = document.getElementById("what-if");
  var holder = document.getElementById("what-if-figures");
  if (!form || !holder) { return; }
  var week = JSON.parse(holder.textContent), shared = window.RINGLAND_SAID, money = shared.money;

  function moneyText(amount) { // number_words.money_text, by its own rules
    if (amount > 0 && amount < money.least) { return money.under; }
    var step = money.steps.find(function (one) {
      return one[0] === null || Math.abs(amount) < one[0];
    })[1];
    var whole = Math.floor(amount / step + 0.5) * step;
    var figure = String(Math.abs(whole)).replace(/\B(?=(\d{3})+$)/g, money.thousands);
    return (whole < 0 ? money.minus : money.plus).replace("#", function () { return figure; });
  }

  function filled(sentence, places) {
    return sentence.replace(/\{(\w+)\}/g, function (_, name) { return places[name]; });
  }

  function answer(row, extraALitre) {
    var places = { sure: week.sure[row] + extraALitre * week.litres[row], left: week.left[row] };
    places.total = places.sure + places.left;
    week.chances.forEach(function (column, i) { places[i] = week.texts[column[row]]; });
    return places;
  }

  function said(row, extraALitre) {
    var now = answer(0, 0), then = answer(row, extraALitre);
    if (row === 0 && extraALitre === 0) {
      return filled(shared.said.now, Object.assign(then, { left: moneyText(then.left) }));
    }
    var less = now.total - then.total;
    return filled(shared.said.then, Object.assign(then, {
      now0: now[0], now3: now[3], sure: moneyText(then.sure), left: moneyText(then.left),
      total: moneyText(then.total), nowTotal: moneyText(now.total),
      change: filled(less >= 0 ? shared.said.less : shared.said.more,
        { amount: moneyText(Math.abs(less)) })
    }));
  }

  var boxes = Array.from(form.querySelectorAll("input[type=checkbox]"));

  function show() {
    var fuel = week.fuels[form.elements.fuel.selectedIndex];
    var renewal = form.elements.renewal ? form.elements.renewal.selectedIndex : 0;
    var row = boxes.reduce(function (at, box) { return 2 * at + (box.checked ? 1 : 0); }, renewal);
    var extra = fuel === week.fuels[0] ? 0 : Math.max(0, Number(form.elements.extra.value) || 0);
    document.getElementById("what-if-outcome").textContent =
      said(fuel[0] * week.each + row, extra / shared.litresPerUnit);
  }

  form.addEventListener("submit", function (event) { event.preventDefault(); });
  // On "input", which reaches the form, and so the answer, after the price is set.
  form.elements.fuel.addEventListener("input", function () {
    form.elements.extra.value = week.fuels[form.elements.fuel.selectedIndex][1];
  });
  form.addEventListener("input", show);
  form.addEventListener("reset", function () { window.setTimeout(show, 0); });
  window.ringlandWhatIf = { moneyText: moneyText };
  show();
  document.getElementById("what-if-section").hidden = false;
})();
