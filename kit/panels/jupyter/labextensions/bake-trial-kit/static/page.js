// A notebook of the kit opens as a page: its panels are made once Python is there, and again after
// Python was restarted; the lines that make them are folded away. A prebuilt JupyterLab extension
// written by hand: a module-federation container with one plugin.

(() => {
  const NAME = "bake-trial-kit";
  // Of all code only this runs unasked, and only where it is folded away: opening one of the kit's
  // own panels. So a notebook from elsewhere can do nothing by being opened.
  const PANELS = "bring|compare|deeper|measure|plan|record|rise|share|side_by_side|taste";
  const OPENS_A_PANEL = new RegExp(
    "^(from kit import panels\\s+)?(?!panels\\b)([a-z]\\w*) = "
    + `panels\\.(${PANELS})\\((follows=panel|panel\\.workspace)?\\)\\s+\\2\\s*$`,
  );
  const FOLDED = ".jp-Cell-inputWrapper:has(.jp-InputPlaceholder)";
  const MAKING = `.kit-page[aria-busy="true"] ${FOLDED}`;
  const STYLE = `
    .kit-page ${FOLDED}, .kit-page .jp-cell-toolbar {display: none}
    .kit-page ${FOLDED} ~ .jp-Cell-outputWrapper .jp-OutputPrompt {visibility: hidden}
    ${MAKING} {display: block; padding-left: var(--jp-cell-prompt-width)}
    ${MAKING} > * {display: none}
    ${MAKING}::after {content: "Getting ready …"}
  `;
  const AFTER_MS = 1000; // after a restart, for "Restart Kernel and Run All Cells" to come first
  let shared;

  // A library of JupyterLab's own, as it is loaded already
  async function library(name) {
    const [version] = Object.values(shared[name]);
    return (await version.get())();
  }

  function panelCells(notebook) {
    return notebook.widgets.filter(({ model }) => model.type === "code"
      && model.getMetadata("jupyter")?.source_hidden
      && OPENS_A_PANEL.test(model.sharedModel.getSource()));
  }

  const makers = new WeakSet(); // another view of the same notebook shows the same panels

  async function asPage({ node, content: notebook, context, sessionContext, disposed }, actions) {
    await context.ready;
    // what lies beside a notebook is what Python imports first: only in the baker's own folder
    if (context.path.includes("/") || !panelCells(notebook).length) return;
    node.classList.add("kit-page");
    if (makers.has(sessionContext)) return;
    makers.add(sessionContext);
    let making = false;
    let wanted = true;
    let ended = false; // this window, or Python by itself: what the next one says is no news
    let mark; // of the messages of Python as it runs now
    let waits;

    async function make() {
      if (!wanted) return;
      wanted = false;
      making = true;
      node.setAttribute("aria-busy", "true");
      const { mode } = notebook;
      const made = actions.runCells(notebook, panelCells(notebook), sessionContext);
      notebook.mode = mode; // who types in a cell goes on: in the other mode two d delete it
      try {
        await made;
      } finally {
        making = false;
        node.setAttribute("aria-busy", "false");
      }
    }

    // who runs all cells makes the panels themselves
    function runs(_, what) {
      if (what.notebook === notebook && panelCells(notebook).includes(what.cell)) wanted = false;
    }
    function says(_, status) {
      if (status !== "restarting") return;
      clearTimeout(waits);
      wanted = ended = true;
    }
    // What Python says is told by its mark: the old one may speak on while it is ended, and what the
    // new one does at first is kept from `statusChanged`.
    function hears(_, { header, content }) {
      if (content.execution_state === "restarting") { // said by the server: it ended by itself
        wanted = !making; // where making them is what ended it, it would do so again
        return;
      }
      if (header.session === mark) return;
      if (mark && !ended && !making) wanted = true; // another window ended it
      mark = header.session;
      ended = false;
      clearTimeout(waits);
      waits = setTimeout(make, AFTER_MS);
    }
    actions.executionScheduled.connect(runs);
    disposed.connect(() => {
      actions.executionScheduled.disconnect(runs);
      clearTimeout(waits);
      makers.delete(sessionContext);
    });
    await sessionContext.ready;
    await sessionContext.session?.kernel?.info;
    sessionContext.statusChanged.connect(says);
    sessionContext.iopubMessage.connect(hears);
    await make();
  }

  // A panel keeps JupyterLab's keys from its fields (`panels/parts/keys`); saving the notebook and the list
  // of all commands, the one way to most of them without a mouse, stay within reach.
  function letThrough(event, commands) {
    const field = event.target.closest?.("[data-lm-suppress-shortcuts]");
    const key = event.shiftKey ? "c" : "s";
    if (!field || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== key) return;
    field.removeAttribute("data-lm-suppress-shortcuts");
    commands.processKeydownEvent(event);
    field.setAttribute("data-lm-suppress-shortcuts", "true");
  }

  const PUT_AWAY = `${NAME}:put-away`;
  const BESIDE = ["left", "right"].flatMap((side) => [
    [`application:toggle-${side}-area`, {}],
    ["application:toggle-side-tabbar", { side }],
  ]);

  // On a phone what JupyterLab has beside the page would take most of it (its list of files) or a sixth
  // (the bars): it is put away there, as its menu View, Appearance does, and brings it back; and comes
  // back where there is room again. JupyterLab remembers what is away, and opens on the next screen
  // without it: so what was put away here is remembered beside that.
  async function makeRoom({ commands, restored }, state) {
    await restored;
    const narrow = window.matchMedia("(max-width: 35rem)");
    const away = new Set(await state.fetch(PUT_AWAY));
    function fit() {
      BESIDE.forEach(([command, args], index) => {
        const shown = commands.isToggled(command, args);
        if (narrow.matches ? !shown : shown || !away.has(index)) return;
        commands.execute(command, args);
        if (narrow.matches) away.add(index);
      });
      if (!narrow.matches) away.clear();
      state.save(PUT_AWAY, [...away]);
    }
    narrow.addEventListener("change", fit);
    fit();
  }

  async function plugin() {
    const { INotebookTracker, NotebookActions } = await library("@jupyterlab/notebook");
    const { IStateDB } = await library("@jupyterlab/statedb");
    return {
      id: `${NAME}:page`,
      autoStart: true,
      requires: [INotebookTracker, IStateDB],
      activate: (app, tracker, state) => {
        document.head.append(Object.assign(document.createElement("style"), { textContent: STYLE }));
        window.addEventListener("keydown", (event) => letThrough(event, app.commands), true);
        makeRoom(app, state);
        tracker.widgetAdded.connect((_, panel) => asPage(panel, NotebookActions));
      },
    };
  }

  window._JUPYTERLAB = window._JUPYTERLAB ?? {};
  window._JUPYTERLAB[NAME] = {
    init: (scope) => { shared = scope; },
    get: async () => {
      const made = await plugin();
      return () => ({ __esModule: true, default: made });
    },
  };
})();
