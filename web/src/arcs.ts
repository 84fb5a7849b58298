// Arcs of motion drawn at the joint itself: one ink, ticks and degrees, and a pointer that can be taken by hand.
import { Matrix4, Quaternion, Vector3 } from "three";
import type { Joint } from "./api";
import { svg } from "./dom";
import type { Stage } from "./stage";

const RADIUS = 17;
const GRASP_PX = 14;

/** From figure coordinates (x forward, y left, z up) to the stage, for a joint whose parent is at rest. */
export const AT_REST = new Quaternion().setFromRotationMatrix(
  new Matrix4().set(0, 1, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1),
);

/** Where the arcs of a joint lie: its centre on the stage, and how its parent is turned there. */
export interface Seat {
  centre: Vector3;
  turn: Quaternion;
}

type Place = { x: number; y: number };

function dial(
  stage: Stage,
  joint: Joint,
  motion: string,
  seat: Seat,
): ((deg: number, radius?: number) => Place | null) | null {
  const axis = joint.axes?.[motion];
  if (!axis) return null;
  const about = new Vector3(axis[0], axis[1], axis[2]).normalize();
  const start = new Vector3(0, 0, -1);
  if (Math.abs(start.dot(about)) > 0.9) start.set(1, 0, 0);
  start.addScaledVector(about, -start.dot(about)).normalize().applyQuaternion(seat.turn);
  about.applyQuaternion(seat.turn);
  return (degrees, radius = RADIUS) => {
    const turned = new Quaternion().setFromAxisAngle(about, (degrees * Math.PI) / 180);
    return stage.seen(seat.centre.clone().addScaledVector(start.clone().applyQuaternion(turned), radius));
  };
}

/** The arc of one motion about a joint's centre, as ink. ``angle`` is where the joint stands now. */
export function arcInk(stage: Stage, joint: Joint, motion: string, seat: Seat, angle: number): SVGElement[] {
  const at = dial(stage, joint, motion, seat);
  if (!at) return [];
  const out: SVGElement[] = [];
  const sweep = (range: readonly number[] | undefined, kind: string, radius: number) => {
    if (!range) return;
    const [low, high] = [Math.max(-180, range[0]!), Math.min(180, range[1]!)];
    const steps = Math.max(2, Math.ceil((high - low) / 4));
    const points: string[] = [];
    for (let k = 0; k <= steps; k++) {
      const p = at(low + ((high - low) * k) / steps, radius);
      if (p) points.push(`${p.x.toFixed(1)},${p.y.toFixed(1)}`);
    }
    out.push(svg("polyline", { class: kind, points: points.join(" ") }));
  };
  sweep(joint.wanted?.[motion], "arc wanted", RADIUS + 2);
  const reached = joint.reached?.[motion];
  sweep(reached, "arc", RADIUS);
  for (const degrees of reached ?? []) {
    const [a, b, c] = [at(degrees, RADIUS - 2), at(degrees, RADIUS + 2), at(degrees, RADIUS + 6)];
    if (!a || !b || !c) continue;
    out.push(svg("line", { class: "tick", x1: a.x, y1: a.y, x2: b.x, y2: b.y }));
    out.push(
      svg(
        "text",
        { class: "on-figure", x: c.x, y: c.y + 4, "text-anchor": "middle" },
        `${Math.round(degrees)}°`.replace("-", "−"),
      ),
    );
  }
  const [from, to] = [stage.seen(seat.centre), at(angle)];
  if (from && to) {
    out.push(svg("line", { class: "tick", x1: from.x, y1: from.y, x2: to.x, y2: to.y }));
    out.push(svg("circle", { class: "pointer", cx: to.x, cy: to.y, r: 5 }));
    out.push(svg("text", { class: "on-figure", x: to.x + 8, y: to.y - 6 }, motion));
  }
  return out;
}

/** The motion whose pointer is under a place of the canvas. */
export function grasped(
  stage: Stage,
  joint: Joint,
  seat: Seat,
  angle: (motion: string) => number,
  x: number,
  y: number,
): string | null {
  let best: string | null = null;
  let least = GRASP_PX;
  for (const motion of Object.keys(joint.reached ?? {})) {
    const p = dial(stage, joint, motion, seat)?.(angle(motion));
    const away = p ? Math.hypot(p.x - x, p.y - y) : Infinity;
    if (away < least) [best, least] = [motion, away];
  }
  return best;
}

/** The angle, inside what is reached, whose place on the arc is nearest to a place of the canvas. */
export function pointedAt(stage: Stage, joint: Joint, motion: string, seat: Seat, x: number, y: number): number {
  const at = dial(stage, joint, motion, seat);
  const [low, high] = joint.reached?.[motion] ?? [0, 0];
  let [best, least] = [0, Infinity];
  for (let k = 0; at && k <= 240; k++) {
    const degrees = low + ((high - low) * k) / 240;
    const p = at(degrees);
    const away = p ? Math.hypot(p.x - x, p.y - y) : Infinity;
    if (away < least) [best, least] = [degrees, away];
  }
  return best;
}
