// The runs of a day on a map. The places come with the page; tiles only where a server is set.

const holder = document.querySelector("#map");
const runs = JSON.parse(document.querySelector("#places")?.textContent ?? "[]");
const DASHES = [null, "8 5", "2 5", "12 4 2 4"];

const place = (feature) => [feature.geometry.coordinates[1], feature.geometry.coordinates[0]];
const known = (run) => run.features.filter((one) => one.geometry);
const words = (text) => document.createTextNode(text);

// A step of degrees that gives between four and ten lines.
const step = (span) => [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10].find((one) => span / one <= 8) ?? 30;

const degrees = (value, above, below) => `${Math.abs(value).toFixed(3)}° ${value < 0 ? below : above}`;

const grid = (map, layer) => {
  layer.clearLayers();
  const seen = map.getBounds();
  const by = step(Math.max(seen.getEast() - seen.getWest(), seen.getNorth() - seen.getSouth()));
  const line = (from, to, said) => {
    L.polyline([from, to], { className: "map-grid", interactive: false }).addTo(layer);
    L.marker(said.at, { icon: L.divIcon({ className: "map-degree", html: said.text, iconSize: null }), interactive: false, keyboard: false }).addTo(layer);
  };
  for (let lat = Math.ceil(seen.getSouth() / by) * by; lat < seen.getNorth(); lat += by) {
    line([lat, seen.getWest()], [lat, seen.getEast()], { at: [lat, seen.getWest()], text: degrees(lat, "N", "S") });
  }
  for (let lng = Math.ceil(seen.getWest() / by) * by; lng < seen.getEast(); lng += by) {
    line([seen.getSouth(), lng], [seen.getNorth(), lng], { at: [seen.getNorth(), lng], text: degrees(lng, "E", "W") });
  }
};

// A ticket's ring bears the letter of its urgency.
const URGENCY = { down: "D", part: "P", money: "M", when_there: "V" };
const KINDS = { ticket: "ticket-place" };
const letter = (at) => ({ depot: "D", ticket: URGENCY[at.urgency] })[at.role] ?? String(at.sequence);
const title = (at) => {
  if (at.role === "depot") return at.name;
  if (at.role === "ticket") return `${at.asset_tag}, ${at.symptom}, ${at.due}`;
  return `${at.sequence} ${at.asset_tag}, ${at.name}`;
};

const said = (feature, run) => {
  const { properties: one } = feature;
  const box = document.createElement("div");
  const head = document.createElement("b");
  if (one.role === "ticket") {
    head.append(words(`${one.asset_tag}: ${one.symptom}`));
    box.append(head, document.createElement("br"), words(`${one.due} · ${one.name}`));
    return box;
  }
  head.append(words(one.role === "depot" ? one.name : `${one.sequence} ${one.asset_tag}`));
  box.append(head, document.createElement("br"), words(one.role === "depot" ? run.name : one.name));
  return box;
};

if (holder && runs.some((run) => known(run).length)) {
  const map = L.map(holder, { zoomSnap: 0.25, zoomControl: false, attributionControl: Boolean(holder.dataset.credit), scrollWheelZoom: false });
  L.control.zoom({ position: "bottomright" }).addTo(map);
  map.attributionControl?.setPrefix(false);
  map.fitBounds(L.latLngBounds(runs.flatMap(known).map(place)), { padding: [36, 36], maxZoom: 15 });
  if (holder.dataset.tiles) {
    const credit = document.createElement("span");
    credit.append(words(holder.dataset.credit));
    L.tileLayer(holder.dataset.tiles, { attribution: credit.innerHTML, maxZoom: 19 }).addTo(map);
  } else {
    const lines = L.layerGroup().addTo(map);
    grid(map, lines);
    map.on("moveend", () => grid(map, lines));
  }
  runs.forEach((run, index) => {
    const places = known(run);
    const depot = places.find((one) => one.properties.role === "depot");
    const stops = places.filter((one) => one.properties.role === "stop");
    const way = [...(depot ? [depot] : []), ...stops, ...(depot ? [depot] : [])].map(place);
    if (way.length > 1) L.polyline(way, { className: "map-way", dashArray: DASHES[index % DASHES.length], interactive: false }).addTo(map);
    for (const one of places) {
      const at = one.properties;
      const name = document.createElement("span");
      name.append(words(letter(at)));
      const css = `map-place ${KINDS[at.role] ?? at.role}${at.must_go ? " must" : ""}${at.state === "done" ? " done" : ""}${at.pressing === "late" ? " late" : ""}`;
      L.marker(place(one), {
        icon: L.divIcon({ className: css, html: name, iconSize: [28, 28] }),
        title: title(at),
        zIndexOffset: at.role === "ticket" ? 500 : 0,
        alt: at.name,
      })
        .bindPopup(() => said(one, run))
        .addTo(map);
    }
  });
}
