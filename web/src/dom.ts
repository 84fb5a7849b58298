// Small words for building the page's elements.

type Child = Node | string | null | undefined | false;
type Props = Record<string, string | number | boolean | ((event: never) => void) | undefined>;

export function el<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  props: Props = {},
  ...children: Child[]
): HTMLElementTagNameMap[K] {
  const made = document.createElement(tag);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === false) continue;
    if (typeof value === "function") made.addEventListener(key, value as EventListener);
    else if (value === true) made.setAttribute(key, "");
    else made.setAttribute(key, String(value));
  }
  made.append(...children.filter((c): c is Node | string => c !== null && c !== undefined && c !== false));
  return made;
}

export function svg(tag: string, props: Record<string, string | number> = {}, text?: string): SVGElement {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [key, value] of Object.entries(props)) made.setAttribute(key, String(value));
  if (text !== undefined) made.textContent = text;
  return made;
}

/**
 * Put children in place of what is there. The focus stays on the element of the same id, or of the same place and kind;
 * what was unfolded stays so.
 */
export function fill(parent: Element, ...children: Child[]): void {
  const focused = parent.contains(document.activeElement) ? document.activeElement : null;
  const way = focused ? wayTo(parent, focused) : [];
  const top = parent.scrollTop;
  const unfolded = new Set([...parent.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  parent.replaceChildren(...children.filter((c): c is Node | string => c !== null && c !== undefined && c !== false));
  for (const summary of parent.querySelectorAll("details > summary")) {
    if (unfolded.has(summary.textContent)) (summary.parentElement as HTMLDetailsElement).open = true;
  }
  parent.scrollTop = top;
  if (!focused) return;
  const there = (focused.id ? document.getElementById(focused.id) : null) ?? alongWay(parent, way);
  if (there?.tagName === focused.tagName) (there as HTMLElement).focus({ preventScroll: true });
}

function wayTo(parent: Element, child: Element): number[] {
  const way: number[] = [];
  for (let at = child; at !== parent && at.parentElement; at = at.parentElement) {
    way.unshift([...at.parentElement.children].indexOf(at));
  }
  return way;
}

function alongWay(parent: Element, way: number[]): Element | undefined {
  let at: Element | undefined = parent;
  for (const step of way) at = at?.children[step];
  return at;
}

export function rows(pairs: [string, string | null | undefined][]): HTMLElement {
  const list = el("dl", { class: "rows" });
  for (const [name, value] of pairs) if (value) list.append(el("dt", {}, name), el("dd", {}, value));
  return list;
}

/** A verdict in a word with its engraved mark. */
export function verdict(word: string): HTMLElement {
  return el("span", {}, el("span", { class: `mark ${word}` }), word);
}

export const plain = (name: string): string => name.replaceAll("_", " ");

/** What was asked of a finding, in words: ``fit.skin_gap`` is "fit, skin gap". */
export const asked = (check: string): string => plain(check).replace(".", ", ");

/** A count and its thing: "1 island", "2 islands", "no islands". */
export const counted = (count: number, thing: string): string => `${count || "no"} ${thing}${count === 1 ? "" : "s"}`;

/** A range of whole degrees, with a true minus sign. */
export const degrees = (range: readonly number[]): string =>
  range.map((v) => `${Math.round(v)}°`.replace("-", "−")).join(" to ");

export function amount(value: number | null | undefined, unit: string, digits = 3): string | null {
  if (value === null || value === undefined) return null;
  const text = Math.abs(value) >= 100 ? Math.round(value).toString() : Number(value.toPrecision(digits)).toString();
  return unit.startsWith("°") ? text + unit : `${text} ${unit}`.trim();
}
