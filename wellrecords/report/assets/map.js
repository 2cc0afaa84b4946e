/* Draws the report's wells, lines and legend on the map that folium made.
   Text from records is only ever set as textContent. */
(function () {
  "use strict";
  var data = JSON.parse(document.getElementById("map-data").textContent);
  var map = window[data.map];
  var holder = map.getContainer();
  var BOUND_ONLY = 100, NOT_RECORDED = "#8a8f94", INK = "#1d2830";
  var surfaces = Object.keys(data.surfaces).map(function (name) { return { layer: window[name], ramp: data.surfaces[name] }; });
  var painted = [], named = [];
  var LABEL_STEP = 9, MOST_STEPS = 12, ROOM_ABOVE = 28;
  var shown = null, surfaceShown = null;

  function element(tag, className, text) {
    var node = document.createElement(tag);
    if (className) { node.className = className; }
    if (text !== undefined && text !== null) { node.textContent = text; }
    return node;
  }

  function card(title, rows) {
    var box = element("div", "well-card");
    if (title) { box.appendChild(element("strong", "", title)); }
    rows.forEach(function (row) {
      if (row[1] === "" || row[1] === null) { return; }
      var line = element("div");
      line.appendChild(element("span", "well-card-label", row[0] + " "));
      line.appendChild(element("span", "", row[1]));
      box.appendChild(line);
    });
    return box;
  }

  function paint(code, marked, small) {
    /* On a surface of the same colours a well stands out by a white ring. */
    var style = { color: marked ? INK : surfaceShown ? "#ffffff" : "#3d4a52",
      weight: marked ? 2.5 : surfaceShown ? 0.9 : small ? 0.4 : 0.8, opacity: 1 };
    if (code < 0) {
      style.fillColor = "#ffffff"; style.fillOpacity = 0.7;
      if (!marked) { style.color = NOT_RECORDED; style.weight = 1.2; }
      style.dashArray = "2 2";
      return style;
    }
    var colour = shown.classes[code % BOUND_ONLY].colour;
    style.dashArray = null;
    if (code >= BOUND_ONLY) {
      style.fillColor = "#ffffff"; style.fillOpacity = 0.85;
      style.color = colour; style.weight = small ? 1.5 : 3;
    } else {
      style.fillColor = colour; style.fillOpacity = 0.95;
    }
    return style;
  }

  function reachable(layer, text) {
    var node = layer.getElement && layer.getElement();
    if (!node) { return; }
    node.setAttribute("tabindex", "0");
    node.setAttribute("role", "img");
    node.setAttribute("aria-label", text);
    node.addEventListener("focus", function () { layer.openTooltip(); });
    node.addEventListener("blur", function () { layer.closeTooltip(); });
  }

  function drawWells(group, wells) {
    for (var i = 0; i < wells.lat.length; i += 1) {
      (function (i) {
        var marked = Boolean(wells.marked);
        var circle = L.circleMarker([wells.lat[i], wells.lon[i]], {
          radius: wells.radius ? wells.radius[i] : wells.size, className: marked ? "well well-marked" : "well"
        });
        var rows = function () { return wells.fields.map(function (field) { return [field.label, field.values[i]]; }); };
        circle.bindTooltip(function () { return card(wells.title ? wells.title[i] : null, rows()); },
          { className: "well-tip", direction: "auto" });
        circle.addTo(group);
        painted.push({ circle: circle, wells: wells, index: i, marked: marked });
        if (marked) {
          var spoken = rows().filter(function (row) { return row[1]; })
            .map(function (row) { return row[0] + " " + row[1]; });
          reachable(circle, (wells.title ? wells.title[i] + ": " : "") + spoken.join(", "));
        }
      }(i));
    }
  }

  function drawLabels(group, labels) {
    labels.forEach(function (label) {
      var marker = L.marker([label.lat, label.lon], {
        interactive: false, keyboard: false,
        icon: L.divIcon({ className: label.below ? "map-label map-label-below" : "map-label", html: element("span", "", label.text), iconSize: null })
      }).addTo(group);
      named.push({ marker: marker, step: label.below ? 1 : -1 });
    });
  }

  /* No label covers another: the one drawn later stays, the other steps aside, away from its place. */
  function partLabels() {
    var taken = [];
    named.slice().reverse().forEach(function (label) {
      var box = label.marker.getElement();
      if (!box || !box.isConnected) { return; }
      var text = box.firstChild, moved = 0, seen;
      text.style.position = "relative";
      do {
        text.style.top = moved * label.step * LABEL_STEP + "px";
        seen = text.getBoundingClientRect();
        moved += 1;
      } while (moved <= MOST_STEPS && taken.some(function (other) {
        return seen.left < other.right && other.left < seen.right && seen.top < other.bottom && other.top < seen.bottom;
      }));
      taken.push(seen);
    });
  }

  function drawShapes(group, shapes) {
    shapes.forEach(function (shape) {
      var style = { color: shape.colour, weight: shape.weight || 2, opacity: shape.opacity || 1,
        dashArray: shape.dash || null, fill: Boolean(shape.fill), fillColor: shape.fill || null,
        fillOpacity: shape.fill ? (shape.fillOpacity || 0.2) : 0,
        interactive: Boolean(shape.rows), className: shape.className || "" };
      var layer;
      if (shape.radius_m) { layer = L.circle(shape.parts[0], { ...style, radius: shape.radius_m }); }
      else if (shape.closed) { layer = L.polygon(shape.parts, style); }
      else { layer = L.polyline(shape.parts, style); }
      if (shape.rows) {
        layer.bindTooltip(function () { return card(shape.title, shape.rows); }, { className: "well-tip", sticky: true });
      }
      layer.addTo(group);
      if (shape.rows) {
        reachable(layer, shape.title + ": " + shape.rows.map(function (row) { return row.join(" "); }).join(", "));
      }
    });
  }

  function legendRow(list, swatchClass, colour, text) {
    var row = element("li");
    var swatch = element("span", "swatch " + swatchClass);
    if (colour) { swatch.style.setProperty("--colour", colour); }
    row.appendChild(swatch);
    row.appendChild(element("span", "", text));
    list.appendChild(row);
  }

  function legendBlock(place, title, ramp, extra) {
    var block = element("div", "legend-block");
    block.appendChild(element("p", "legend-title", title));
    var list = element("ul", "legend-list");
    if (ramp) { ramp.classes.forEach(function (step) { legendRow(list, extra ? "dot" : "square", step.colour, step.label); }); }
    (extra || []).forEach(function (row) { legendRow(list, row[0], row[1], row[2]); });
    block.appendChild(list);
    place.appendChild(block);
  }

  function drawLegend() {
    var place = document.getElementById("map-legend");
    if (!place) { return; }
    place.replaceChildren();
    if (shown && painted.length) {
      var extra = [], codes = {};
      painted.forEach(function (one) {
        var code = one.wells.codes[shown.key][one.index];
        codes[code < 0 ? "none" : code >= BOUND_ONLY ? "bound" : "exact"] = true;
      });
      if (codes.bound) { extra.push(["ring", INK, "hollow: only a bound is known, such as “over 90 ft”"]); }
      if (codes.none) { extra.push(["dashed", NOT_RECORDED, "not recorded"]); }
      var under = surfaceShown ? ": the wells, and under them " + lower(surfaceShown.title) : "";
      legendBlock(place, shown.label + under, shown, extra);
    }
    data.groups.forEach(function (group) {
      if (group.legend && map.hasLayer(window[group.group])) { legendBlock(place, group.legend.label, group.legend, null); }
    });
    if (surfaceShown && !painted.length) { legendBlock(place, surfaceShown.title, surfaceShown, null); }
    var keys = data.groups.filter(function (group) { return group.key && map.hasLayer(window[group.group]); });
    if (keys.length) {
      legendBlock(place, "Also on the map", null, keys.map(function (group) { return group.key; }));
    }
  }

  function lower(text) { return text.charAt(0).toLowerCase() + text.slice(1); }

  /* One choice drives both: the wells' colours, and the surface of that quantity where there is one. */
  function show(ramp) {
    shown = ramp;
    surfaceShown = null;
    surfaces.forEach(function (surface) {
      if (surface.ramp.key === ramp.key) { surfaceShown = surface.ramp; map.addLayer(surface.layer); }
      else { map.removeLayer(surface.layer); }
    });
    painted.forEach(function (one) {
      one.circle.setStyle(paint(one.wells.codes[shown.key][one.index], one.marked, one.wells.size < 4));
    });
    drawLegend();
  }

  data.groups.forEach(function (content) {
    var group = window[content.group];
    if (content.shapes) { drawShapes(group, content.shapes); }
    if (content.wells) { drawWells(group, content.wells); }
    if (content.labels) { drawLabels(group, content.labels); }
  });

  var choices = painted.length && data.ramps.length ? data.ramps
    : surfaces.map(function (surface) { return surface.ramp; });
  var first = choices.filter(function (ramp) {
    return surfaces.some(function (surface) { return surface.ramp.key === ramp.key; });
  })[0] || choices[0];
  var choice = document.getElementById("map-variable");
  if (choice && choices.length > 1) {
    choices.forEach(function (ramp) {
      var option = element("option", "", ramp.title || ramp.label);
      option.value = ramp.key;
      option.selected = ramp === first;
      choice.appendChild(option);
    });
    choice.addEventListener("change", function () {
      show(choices.filter(function (ramp) { return ramp.key === choice.value; })[0]);
    });
    choice.parentElement.hidden = false;
  }

  /* The layer switch stands beside the map, not upon it. */
  var control = holder.querySelector(".leaflet-control-layers");
  var aside = document.getElementById("map-layers");
  if (control && aside) { aside.appendChild(control); }

  map.on("overlayadd overlayremove", drawLegend);
  map.on("zoomend overlayadd overlayremove", partLabels);

  function fit() {
    map.invalidateSize({ animate: false });
    /* The name of a place stands above it, inside the frame too. */
    map.fitBounds(data.bounds, { paddingTopLeft: [12, ROOM_ABOVE], paddingBottomRight: [12, 12], animate: false });
    partLabels();
  }
  fit();
  if (first) { show(first); } else { drawLegend(); }
  window.addEventListener("beforeprint", function () { holder.classList.add("map-print"); fit(); });
  window.addEventListener("afterprint", function () { holder.classList.remove("map-print"); fit(); });
  holder.setAttribute("data-wells-drawn", String(painted.length));
}());
