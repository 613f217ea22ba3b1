/* The page without it works by forms; with it tracks go up as they are chosen, and what comes of them appears by itself. */
(() => {
  "use strict";
  document.documentElement.classList.add("scripted");
  const at = (id) => document.getElementById(id);
  const made = (tag, kind, text, ...inside) => {
    const element = document.createElement(tag);
    if (kind) element.className = kind;
    element.append(text, ...inside);
    return element;
  };
  const listed = (text) => made("li", "", text);

  /* A hold as it is typed: fields that count, what is wrong with them, and the drawing. */
  function holdForm(form) {
    let timer = 0, number = 0;
    const show = () => {
      for (const part of form.querySelectorAll("[data-shown]")) {
        const [name, value] = part.dataset.shown.split(" ");
        part.toggleAttribute("data-off", form.elements[name].value !== value);
      }
    };
    const check = async () => {
      const mine = ++number;
      try {
        const answer = await fetch("/hold/check", { method: "POST", body: new FormData(form), headers: { Accept: "application/json" } });
        if (!answer.ok || mine !== number) return;
        const found = await answer.json();
        for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
        const wrong = found.field && form.elements[found.field];
        if (wrong && wrong.value) wrong.setAttribute("aria-invalid", "true");
        at("messages").replaceChildren(...(found.problem ? [listed(found.problem)] : []));
        at("notes").replaceChildren(...found.notes.map(listed));
        if (found.drawing) at("drawing").replaceChildren(document.createRange().createContextualFragment(found.drawing));
      } catch { /* the next key asks again */ }
    };
    form.addEventListener("input", () => { show(); clearTimeout(timer); timer = setTimeout(check, 250); });
    show();
  }
  if (at("hold-form")) holdForm(at("hold-form"));
  const job = at("job");
  if (!job) return;

  const ids = at("flights").value ? at("flights").value.split(",") : [];
  const said = [...at("messages").children].map((line) => line.textContent);
  const uploads = new Set();
  let asked = false, wanted = "", reportsSeen = null, timer = 0, busy = 0, told = "";

  const json = { headers: { Accept: "application/json" } };
  const post = async (where, fields) => {
    const body = new FormData();
    for (const [name, value] of Object.entries(fields)) body.append(name, value);
    const answer = await fetch(where, { ...json, method: "POST", body });
    const given = await answer.json();
    if (!answer.ok) throw new Error(given.message);
    return given;
  };
  const line = (text) => { if (text && !said.includes(text)) { said.push(text); at("messages").append(listed(text)); } };
  const failed = (error) => line(error instanceof TypeError ? "The program does not answer: is 'trackgrade serve' still running?" : error.message);
  const tell = (text) => { if (text !== told) { told = text; at("progress").textContent = text; } };
  const remember = () => {
    at("flights").value = ids.join(",");
    const chosen = at("hold").value;
    const query = new URLSearchParams(ids.length ? { flights: ids.join(",") } : {});
    if (chosen) query.set("hold", chosen);
    history.replaceState(null, "", query.size ? `/?${query}` : "/");
    for (const link of document.querySelectorAll("[data-way]")) {
      const way = new URL(link.dataset.way, location.href);
      if (ids.length) way.searchParams.set("flights", ids.join(","));
      link.href = way.pathname + way.search;
    }
  };

  /* One track at a time on its way, so that a large one and a small one do not fight for the disk. */
  let way = Promise.resolve();
  const send = (file) => {
    const state = made("span", "state", "waiting");
    const row = made("article", "track", made("p", "line", made("b", "", file.name), state));
    at("dropped").append(row);
    const done = way.then(() => new Promise((resolve) => {
      if (file.size > Number(job.dataset.most)) {
        line(`${file.name}: more than ${Math.floor(job.dataset.most / 1048576)} MiB is not taken. Cut it to the flight, or keep fewer points a second`);
        row.remove();
        return resolve();
      }
      const request = new XMLHttpRequest();
      const body = new FormData();
      body.append("tracks", file);
      request.open("POST", "/tracks");
      request.setRequestHeader("Accept", "application/json");
      request.upload.onprogress = (event) => { if (event.lengthComputable) state.textContent = `${Math.floor(100 * event.loaded / event.total)} %`; };
      request.onload = () => {
        let given = {};
        try { given = JSON.parse(request.responseText); } catch { given = {}; }
        for (const text of given.messages || []) line(text);
        if (request.status !== 200) line(`${file.name}: ${given.message || "it was not taken"}`);
        for (const flight of given.flights || []) {
          ids.push(flight.id);
          row.id = `t-${flight.id}`;
          row.dataset.version = "";
          state.textContent = "being looked at";
        }
        if (!(given.flights || []).length) row.remove();
        remember();
        resolve();
      };
      request.onerror = () => { line(`${file.name}: it was not taken; it may be too large, or the program has ended`); row.remove(); resolve(); };
      request.send(body);
    }));
    way = done;
    uploads.add(done);
    done.finally(() => { uploads.delete(done); look(); });
  };
  const take = (files) => { for (const file of files) send(file); };
  at("tracks").addEventListener("change", () => { take([...at("tracks").files]); at("tracks").value = ""; });
  const over = (event) => { if ([...event.dataTransfer.types].includes("Files")) { event.preventDefault(); at("drop").classList.toggle("over", event.type === "dragover"); } };
  for (const type of ["dragover", "dragleave"]) document.addEventListener(type, over);
  document.addEventListener("drop", (event) => { over(event); take([...event.dataTransfer.files]); });

  const offer = (groups) => {
    const list = at("hold"), key = JSON.stringify(groups);
    if (list.dataset.key === key) return;
    list.dataset.key = key;
    const chosen = list.value;
    for (const group of list.querySelectorAll("optgroup")) group.remove();
    for (const [title, options] of Object.entries(groups)) {
      const group = document.createElement("optgroup");
      group.label = title;
      for (const [value, label] of options) group.append(new Option(label, value));
      list.append(group);
    }
    list.value = chosen;
    if (list.selectedIndex < 0) list.value = "";
  };
  const refresh = async (rows) => {
    for (const [id, version] of Object.entries(rows)) {
      const old = at(`t-${id}`);
      if (!old || old.dataset.version === version) continue;
      const answer = await fetch(`/flight/${id}/row${ids.length <= 2 ? "?open" : ""}`);
      if (!answer.ok) continue;
      const fresh = document.createRange().createContextualFragment(await answer.text()).firstElementChild;
      const open = old.querySelector("details"), now = fresh.querySelector("details");
      if (open && now) now.open = open.open;
      const focused = old.contains(document.activeElement);
      old.replaceWith(fresh);
      if (focused) (fresh.querySelector("a.report") || fresh.querySelector("summary") || at("grade")).focus();
    }
    remember();
  };

  let looking = false, again = false;
  const look = async () => {
    if (looking) { again = true; return; }
    looking = true;
    clearTimeout(timer);
    try {
      const answer = await fetch(`/state?${new URLSearchParams({ flights: ids.join(","), hold: at("hold").value })}`, json);
      const state = await answer.json();
      if (!answer.ok) throw new Error(state.message);
      busy = state.busy;
      offer(state.options);
      for (const text of state.messages) line(text);
      await refresh(state.rows);
      if (reportsSeen !== state.reports) {
        if (reportsSeen !== null || !document.querySelector("#reports table")) {
          const list = await fetch("/reports");
          if (list.ok) at("reports").replaceChildren(document.createRange().createContextualFragment(await list.text()));
        }
        reportsSeen = state.reports;
      }
      at("stop").hidden = !(asked && busy);
      const left = uploads.size ? `${uploads.size} on the way` : "";
      if (asked) tell(busy || uploads.size || wanted ? `${state.graded} of ${ids.length} graded${left ? ", " + left : ""}` : `Done: ${state.graded} of ${ids.length} graded.`);
      else tell(busy || left ? `Looking for holds${left ? ", " + left : ""}` : "");
    } catch (error) { failed(error); }
    looking = false;
    if (again) { again = false; look(); } else if (busy || uploads.size) timer = setTimeout(look, 400);
  };

  job.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (event.submitter && event.submitter.id === "stop") {
      wanted = "";
      try { await post("/stop", { flights: ids.join(",") }); } catch (error) { failed(error); }
      return look();
    }
    said.length = 0;
    at("messages").replaceChildren();
    take([...at("tracks").files]);
    wanted = "yes";
    asked = true;
    tell("Waiting for the files");
    while (uploads.size) await Promise.all(uploads);
    if (!wanted) return;
    wanted = "";
    if (!ids.length) { asked = false; tell(""); return line("Which flight? Choose or drop a track file first."); }
    try {
      const fields = new FormData(job);
      await post("/grade", { flights: ids.join(","), hold: fields.get("hold"), standard: fields.get("standard"), pilot: fields.get("pilot"), instructor: fields.get("instructor"), note: fields.get("note") });
      tell(`0 of ${ids.length} graded`);
    } catch (error) { asked = false; tell(""); failed(error); }
    look();
  });
  at("hold").addEventListener("change", remember);
  remember();
  look();
})();
