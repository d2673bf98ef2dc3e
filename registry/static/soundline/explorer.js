/* Draws the explorers. A page holds, for each figure,
 *   <div class="plot" data-figure="ID" aria-label="…">words shown until it is drawn</div>
 *   <script type="application/json" id="ID">{"data": […], "layout": {…}}</script>
 * and loads this file with
 *   <script defer src="explorer.js" data-plotly="plotly.min.js"></script>
 * Plotly is large, so it is fetched when the first figure comes near the screen.
 * Without script the page keeps its tables; nothing is said here that they do not say. */
(function () {
  "use strict";

  var plotlyAddress = document.currentScript.dataset.plotly;
  var places = Array.prototype.slice.call(document.querySelectorAll("[data-figure]"));
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var printing = window.matchMedia("print");
  // The colours figures.py writes, and the page's own for them.
  var tokens = new Map([["#12436d", "--own"], ["#646c70", "--other"], ["#0d4d56", "--accent"]]);
  var loading = null;

  function loadPlotly() {
    if (!loading) {
      loading = new Promise(function (resolve, reject) {
        var script = document.createElement("script");
        script.src = plotlyAddress;
        script.onload = function () {
          if (window.Plotly) { resolve(window.Plotly); } else { script.onerror(); }
        };
        script.onerror = function () { loading = null; reject(new Error("Plotly did not load")); };
        document.head.appendChild(script);
      });
    }
    return loading;
  }

  function pageColour(name) {
    return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  }

  function inPageColours(value) {
    if (Array.isArray(value)) { return value.map(inPageColours); }
    if (value && typeof value === "object") {
      return Object.fromEntries(Object.entries(value).map(function (pair) {
        return [pair[0], inPageColours(pair[1])];
      }));
    }
    return (tokens.has(value) && pageColour(tokens.get(value))) || value;
  }

  function figureOf(place) {
    var text = document.getElementById(place.dataset.figure).textContent;
    var figure = inPageColours(JSON.parse(text));
    var layout = figure.layout;
    layout.font = { family: getComputedStyle(document.body).fontFamily, size: 14, color: pageColour("--ink") };
    layout.hoverlabel = { bgcolor: pageColour("--paper"), bordercolor: pageColour("--ink"), font: layout.font };
    Object.keys(layout).forEach(function (key) {
      if (/^[xy]axis/.test(key)) {
        layout[key].gridcolor = pageColour("--rule");
        layout[key].linecolor = pageColour("--ink");
      }
    });
    return figure;
  }

  /* As many words below a picture as its width holds: plotly itself takes the wish as it is. */
  function leaveRoom(figure, width) {
    var axis = figure.layout.xaxis;
    if (!axis || !axis.nticks) { return; }
    var longest = Math.max.apply(null, (figure.data[0].x || [""]).map(function (each) { return String(each).length; }));
    axis.nticks = Math.max(2, Math.min(axis.nticks, Math.floor((width - 80) / (longest * 8 + 12))));
  }

  function draw(place) {
    return loadPlotly().then(function (Plotly) {
      var figure = figureOf(place);
      leaveRoom(figure, place.clientWidth);
      if (!place.classList.contains("drawn")) {
        place.textContent = "";
        place.classList.add("drawn");
        place.setAttribute("role", "img");
      }
      return Plotly.react(place, figure.data, figure.layout, {
        responsive: true, displayModeBar: false, scrollZoom: false, doubleClick: false
      });
    }).catch(function () {
      // The words already standing there, and the tables below, remain.
      place.classList.add("not-drawn");
    });
  }

  function redraw() {
    places.filter(function (place) { return place.classList.contains("drawn"); }).forEach(draw);
  }

  if ("IntersectionObserver" in window) {
    var watcher = new IntersectionObserver(function (entries) {
      entries.filter(function (entry) { return entry.isIntersecting; }).forEach(function (entry) {
        watcher.unobserve(entry.target);
        draw(entry.target);
      });
    }, { rootMargin: "300px" });
    places.forEach(function (place) { watcher.observe(place); });
  } else {
    places.forEach(draw);
  }
  /* A sheet is narrower than most screens, and a picture keeps its size: without this its last years
   * and its lower part would be cut off. 640 pixels fit on A4 and on letter paper. */
  window.addEventListener("beforeprint", function () {
    places.filter(function (place) { return place.classList.contains("drawn"); }).forEach(function (place) {
      place.style.height = place.clientHeight + "px";
      place.style.zoom = Math.min(1, 640 / place.clientWidth);
    });
  });
  window.addEventListener("afterprint", function () {
    places.forEach(function (place) { place.style.height = place.style.zoom = ""; });
  });
  dark.addEventListener("change", redraw);
  printing.addEventListener("change", redraw);
}());
