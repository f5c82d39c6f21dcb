// The library: the list of matches as it stands, adding to it, and what can be done with each.

import { AddWindow } from "./add.js";
import MatchCard from "./card.js";
import { add, emptyDetails, filesOf, forget, lookInto, newItem, send } from "./sending.js";
import { template } from "./template.js";
import { DeleteWindow, DetailsWindow, TogetherWindow } from "./windows.js";
import { GROUPS, SORTS, many, stageText } from "./words.js";
import { ask } from "../common/server.js";

const A_PAGE = 24;
const LOOK_AGAIN_MS = { busy: 1000, idle: 8000, away: 30000 };
const TYPED_MS = 200;
const STEP_MS = 100;
const MOST_AT_ONCE = 100;

/** @type {import("../vendor/vue.js").Component} */
export default {
  name: "LibraryRoom",
  components: { AddWindow, DeleteWindow, DetailsWindow, MatchCard, TogetherWindow },
  template,
  data() {
    return {
      shelf: null, choices: null, trouble: "", said: "", saidNumber: 0, open: "", row: null, dropping: false,
      wanted: wantedInAddress(), items: [], together: null, shared: null, started: false, drafts: {},
    };
  },
  computed: {
    sorts() {
      return SORTS;
    },
    pages() {
      return Math.max(1, Math.ceil(this.shelf.total / A_PAGE));
    },
    groups() {
      const counts = this.shelf.counts;
      const sum = (stages) => stages.reduce((total, stage) => total + (counts[stage] ?? 0), 0);
      const all = sum(Object.keys(counts));
      return GROUPS.map((group) => ({ ...group, number: group.stages.length ? sum(group.stages) : all }));
    },
    /** The matches that are listed: by event where they are ordered so, else all in one. */
    shelves() {
      const rows = this.shelf.matches;
      if (this.wanted.order !== "event") return [{ event: null, rows }];
      const names = [...new Set(rows.map((row) => row.event))];
      return names.map((event) => ({ event, rows: rows.filter((row) => row.event === event) }));
    },
    /** What can be chosen, and names that are known already: the same person is then written the same way. */
    offered() {
      return this.choices && { ...this.choices, events: this.shelf?.events ?? [], athletes: this.shelf?.athletes ?? [] };
    },
    busyItems() {
      return this.items.filter((item) => ["sending", "adding"].includes(item.state) || (item.wanted && ["waiting", "here"].includes(item.state)));
    },
    sendingText() {
      const sending = this.items.find((item) => item.state === "sending");
      if (sending) return `Sending ${sending.name}: ${Math.floor(sending.sent * 100)} %.`;
      if (this.busyItems.length) return `Adding ${many(this.busyItems.length, "match", "matches")}.`;
      const open = this.items.filter((item) => item.state === "here").length;
      if (open) return `${many(open, "video is", "videos are")} ready to be added.`;
      const refused = this.items.filter((item) => item.state === "refused").length;
      return refused ? `${many(refused, "video", "videos")} could not be added.` : "";
    },
  },
  created() {
    this.shared = emptyShared();
    this.refresh();
    this.loadChoices();
  },
  mounted() {
    this.handlers = [
      [window, "dragenter", this.onDrag], [window, "dragover", this.onDrag], [window, "dragleave", this.onDragLeave],
      [window, "drop", this.onDrop], [window, "beforeunload", this.onLeave], [document, "visibilitychange", this.onVisible],
      [window, "keydown", this.onKey],
    ];
    for (const [place, event, handler] of this.handlers) place.addEventListener(event, handler);
  },
  beforeUnmount() {
    clearTimeout(this.timer);
    for (const [place, event, handler] of this.handlers) place.removeEventListener(event, handler);
  },
  methods: {
    async loadChoices() {
      try {
        this.choices = await ask("/api/library/choices");
      } catch (error) {
        this.trouble = error.message;
      }
    },
    /** Ask for the list again; an older answer never overtakes a newer one. */
    async refresh() {
      clearTimeout(this.timer);
      this.asked = (this.asked ?? 0) + 1;
      const mine = this.asked;
      try {
        const shelf = await ask(`/api/library?${this.query()}`);
        if (mine !== this.asked) return;
        this.take(shelf);
      } catch (error) {
        if (mine !== this.asked) return;
        this.trouble = error.message;
        this.lost = true;
      }
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.refresh(), this.pause());
    },
    take(shelf) {
      if (this.lost) this.trouble = "";
      this.lost = false;
      this.sayEnds(shelf);
      this.shelf = shelf;
      if (this.wanted.page > this.pages) {
        this.wanted.page = this.pages;
        this.refresh();
      }
    },
    pause() {
      if (document.hidden) return LOOK_AGAIN_MS.away;
      return this.shelf?.open_jobs || this.lost ? LOOK_AGAIN_MS.busy : LOOK_AGAIN_MS.idle;
    },
    query() {
      const { search, event, athlete, order, group, page } = this.wanted;
      const sort = SORTS.find((one) => one.id === order) ?? SORTS[0];
      const query = new URLSearchParams({
        search, event, athlete, sort: sort.id, descending: String(sort.descending), limit: String(A_PAGE), offset: String((page - 1) * A_PAGE),
      });
      for (const stage of GROUPS.find((one) => one.id === group)?.stages ?? []) query.append("stage", stage);
      return query;
    },
    /** Analyses that ended since the last look are told. */
    sayEnds(shelf) {
      const before = new Map((this.shelf?.matches ?? []).map((row) => [row.id, row.stage]));
      for (const row of shelf.matches) {
        const running = ["waiting", "analysing"].includes(before.get(row.id));
        if (running && !["waiting", "analysing"].includes(row.stage)) this.say(`${row.title}: ${stageText(row)}`);
      }
    },
    renew() {
      this.wanted.page = 1;
      keepInAddress(this.wanted);
      this.refresh();
    },
    onSearch() {
      clearTimeout(this.typed);
      this.typed = setTimeout(() => this.renew(), TYPED_MS);
    },
    choose(group) {
      this.wanted.group = group;
      this.renew();
    },
    clear() {
      this.wanted = { ...wantedInAddress(""), order: this.wanted.order };
      this.renew();
    },
    turn(by) {
      this.wanted.page += by;
      keepInAddress(this.wanted);
      window.scrollTo(0, 0);
      this.refresh();
    },
    onVisible() {
      if (!document.hidden) this.refresh();
    },
    onKey(event) {
      const typing = event.target.closest?.("input, select, textarea, dialog");
      if (event.key !== "/" || typing || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      this.$refs.search?.focus();
    },
    show(name, row) {
      this.row = row;
      this.open = name;
    },
    async analyse(row, everyFrame = false) {
      await this.attempt(async () => {
        await ask(`/api/matches/${row.id}/analysis`, { every_frame: everyFrame });
        this.say(`${row.title} is to be analysed.`);
      });
    },
    /** Line up all that are shown under "not analysed" and whose footage is there. */
    async analyseAll() {
      await this.attempt(async () => {
        const query = this.query();
        query.set("limit", MOST_AT_ONCE);
        query.set("offset", 0);
        const { matches } = await ask(`/api/library?${query}`);
        const ready = matches.filter((row) => row.source?.there);
        for (const row of ready) await ask(`/api/matches/${row.id}/analysis`, {});
        this.say(`${many(ready.length, "match is", "matches are")} to be analysed.`);
      });
    },
    /** Several matches chosen for one action; null while nobody chooses. */
    chooseTogether() {
      this.together = this.together ? null : [];
    },
    chooseOne(row) {
      const there = this.together.some((one) => one.id === row.id);
      this.together = there ? this.together.filter((one) => one.id !== row.id) : [...this.together, row];
    },
    async forEachChosen(action, said) {
      const rows = this.together;
      this.open = "";
      await this.attempt(async () => {
        for (const row of rows) await action(row);
        this.together = null;
        this.say(said);
      });
    },
    analyseChosen() {
      return this.forEachChosen((row) => ask(`/api/matches/${row.id}/analysis`, {}), "They are to be analysed.");
    },
    moveChosen(event) {
      return this.forEachChosen((row) => ask(`/api/matches/${row.id}`, { event }, "PATCH"), "They have the event.");
    },
    deleteChosen() {
      return this.forEachChosen((row) => ask(`/api/matches/${row.id}`, undefined, "DELETE"), "They are deleted.");
    },
    /** What was written and not saved is there again when the window is opened again. */
    closeDetails(draft) {
      if (this.open === "details") this.open = "";
      if (draft) this.drafts[this.row.id] = draft;
      else delete this.drafts[this.row.id];
    },
    /** What the server said of one match stands in the list at once, before all of it is asked again. */
    settle(row) {
      this.open = "";
      delete this.drafts[row.id];
      this.asked += 1; // an answer on its way may be older than this
      const index = this.shelf.matches.findIndex((one) => one.id === row.id);
      if (index >= 0) this.shelf.matches[index] = row;
    },
    analyseAgain(row, everyFrame) {
      this.settle(row);
      this.analyse(row, everyFrame);
    },
    async stop(row) {
      await this.attempt(async () => {
        await ask(`/api/jobs/${row.run.id}/stop`, {});
        this.say(`The analysis of ${row.title} is stopped.`);
      });
    },
    async attempt(action) {
      try {
        await action();
        this.trouble = "";
      } catch (error) {
        this.trouble = error.message;
      }
      await this.refresh();
    },
    onSaved(row) {
      this.settle(row);
      this.say(`${row.title} is saved.`);
      this.refresh();
    },
    onDeleted(row) {
      this.open = "";
      this.say(`${row.title} is deleted.`);
      this.refresh();
      this.$nextTick(() => (this.$refs.search ?? this.$refs.add).focus());
    },
    say(text) {
      this.said = text;
      this.saidNumber += 1;
    },

    // Adding ------------------------------------------------------------------------------------
    onDrag(event) {
      if (!event.dataTransfer?.types.includes("Files")) return;
      event.preventDefault();
      event.dataTransfer.dropEffect = "copy";
      this.dropping = true;
    },
    onDragLeave(event) {
      if (!event.relatedTarget) this.dropping = false;
    },
    async onDrop(event) {
      if (!event.dataTransfer?.types.includes("Files")) return;
      event.preventDefault();
      this.dropping = false;
      this.takeFiles(await filesOf(event.dataTransfer));
    },
    takeFiles(files) {
      this.makeRoom();
      for (const file of files) this.items.push(newItem({ file }, file.name, file.size, emptyDetails(file.name)));
      for (const item of this.items) if (item.file && !item.about) lookInto(item);
      if (files.length) this.open = "add";
      this.sendAll();
    },
    takePaths(videos) {
      this.makeRoom();
      for (const video of videos) {
        this.items.push({ ...newItem({ path: video.path }, video.name, video.size_bytes, emptyDetails(video.name)), about: `, ${video.made_on}` });
      }
    },
    /** What was added before leaves the window when something new comes. */
    makeRoom() {
      this.items = this.items.filter((item) => !["added", "known", "refused"].includes(item.state));
    },
    async sendAll() {
      if (this.isSending) return;
      this.isSending = true;
      for (let item = this.nextToSend(); item; item = this.nextToSend()) await send(item);
      this.isSending = false;
    },
    nextToSend() {
      return this.items.find((item) => item.state === "waiting");
    },
    tryAgain(item) {
      Object.assign(item, { state: item.path ? "here" : "waiting", trouble: "", wanted: false, sent: 0, key: "" });
      this.sendAll();
    },
    leaveOut(item) {
      forget(item);
      this.items = this.items.filter((one) => one.id !== item.id);
    },
    /** Add each as soon as it has come; one that is refused does not keep the others back. */
    async start(analyse) {
      const batch = this.items.filter((item) => ["waiting", "sending", "here"].includes(item.state));
      const shared = { ...this.shared, held_on: this.shared.held_on || null };
      for (const item of batch) item.wanted = true;
      this.started = true;
      for (const item of batch) {
        while (["waiting", "sending"].includes(item.state)) await pause(STEP_MS);
        if (item.state === "here") await add(item, shared, analyse);
        this.refresh();
      }
      this.started = false;
      this.sayAdded(batch);
    },
    sayAdded(batch) {
      const added = batch.filter((item) => item.state === "added").length;
      const told = batch.filter((item) => item.trouble);
      this.say(`${many(added, "match", "matches")} added.${told.length ? ` ${told[0].trouble}` : ""}`);
      this.items = this.items.filter((item) => item.state !== "added");
      if (!this.items.length && this.open === "add") this.closeAdding();
    },
    closeAdding() {
      this.open = "";
      if (this.items.every((item) => ["added", "known", "refused"].includes(item.state))) {
        this.items = [];
        this.shared = emptyShared();
      }
    },
    onLeave(event) {
      if (this.busyItems.length) event.preventDefault();
    },
  },
};

function pause(milliseconds) {
  return new Promise((resolve) => { setTimeout(resolve, milliseconds); });
}

function emptyShared() {
  return { event: "", mat: "", held_on: "", division: null, rules: "sport-jiu-jitsu" };
}

/** Search, filters and page stand in the address, so that going back or loading again keeps them. */
function wantedInAddress(text = window.location.search) {
  const query = new URLSearchParams(text);
  const known = (list, name, usual) => (list.some((one) => one.id === query.get(name)) ? query.get(name) : usual);
  return {
    search: query.get("search") ?? "", event: query.get("event") ?? "", athlete: query.get("athlete") ?? "",
    order: known(SORTS, "order", "added"), group: known(GROUPS, "show", "all"), page: Math.max(1, Number.parseInt(query.get("page") ?? "", 10) || 1),
  };
}

function keepInAddress({ search, event, athlete, order, group, page }) {
  const told = { search, event, athlete, order: order === "added" ? "" : order, show: group === "all" ? "" : group, page: page > 1 ? page : "" };
  const query = new URLSearchParams(Object.entries(told).filter(([, value]) => value !== ""));
  window.history.replaceState(window.history.state, "", `${window.location.pathname}${query.size ? `?${query}` : ""}`);
}
