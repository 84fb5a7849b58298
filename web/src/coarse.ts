// A coarse copy of a part for pictures that must follow each other quickly where no graphics hardware helps.
import { BufferGeometry } from "three";

/** The same vertices, those in one cell of a grid drawn together into one (Rossignac and Borrel 1993, clustering). */
export function coarsened(geometry: BufferGeometry, cell: number): BufferGeometry {
  const place = geometry.getAttribute("position");
  const index = geometry.getIndex();
  if (!index) return geometry;
  const first = new Map<string, number>();
  const stands = new Uint32Array(place.count);
  for (let k = 0; k < place.count; k++) {
    const at = [place.getX(k), place.getY(k), place.getZ(k)].map((v) => Math.round(v / cell)).join(",");
    const known = first.get(at);
    if (known === undefined) first.set(at, k);
    stands[k] = known ?? k;
  }
  const kept: number[] = [];
  for (let k = 0; k < index.count; k += 3) {
    const [a, b, c] = [stands[index.getX(k)]!, stands[index.getX(k + 1)]!, stands[index.getX(k + 2)]!];
    if (a !== b && b !== c && c !== a) kept.push(a, b, c);
  }
  const out = new BufferGeometry();
  for (const name of Object.keys(geometry.attributes)) out.setAttribute(name, geometry.getAttribute(name));
  out.setIndex(kept);
  return out;
}
