// Arcs of motion drawn at the joint itself: one ink, ticks and degrees.
import { Quaternion, Vector3 } from "three";
import type { Joint } from "./api";
import { svg } from "./dom";
import { onStage } from "./sheet";
import type { Stage } from "./stage";

const RADIUS = 17;

/** The arc of one motion about a joint's centre, as ink. ``angle`` is where the joint stands now. */
export function arcInk(stage: Stage, joint: Joint, motion: string, centre: Vector3, angle: number): SVGElement[] {
  const axis = joint.axes?.[motion];
  if (!axis) return [];
  const about = onStage(axis).normalize();
  const start = new Vector3(0, -1, 0);
  if (Math.abs(start.dot(about)) > 0.9) start.set(0, 0, 1);
  start.addScaledVector(about, -start.dot(about)).normalize();
  const at = (degrees: number, radius = RADIUS) =>
    stage.seen(
      centre.clone().addScaledVector(
        start.clone().applyQuaternion(new Quaternion().setFromAxisAngle(about, (degrees * Math.PI) / 180)),
        radius,
      ),
    );
  const out: SVGElement[] = [];
  const sweep = (range: readonly number[] | undefined, kind: string) => {
    if (!range) return;
    const [low, high] = [Math.max(-180, range[0]!), Math.min(180, range[1]!)];
    const points: string[] = [];
    const steps = Math.max(2, Math.ceil((high - low) / 4));
    for (let k = 0; k <= steps; k++) {
      const p = at(low + ((high - low) * k) / steps, kind === "arc wanted" ? RADIUS + 2 : RADIUS);
      if (p) points.push(`${p.x.toFixed(1)},${p.y.toFixed(1)}`);
    }
    out.push(svg("polyline", { class: kind, points: points.join(" ") }));
  };
  sweep(joint.wanted?.[motion], "arc wanted");
  const reached = joint.reached?.[motion];
  sweep(reached, "arc");
  for (const degrees of reached ?? []) {
    const [a, b, c] = [at(degrees, RADIUS - 2), at(degrees, RADIUS + 2), at(degrees, RADIUS + 6)];
    if (!a || !b || !c) continue;
    out.push(svg("line", { class: "tick", x1: a.x, y1: a.y, x2: b.x, y2: b.y }));
    out.push(svg("text", { x: c.x, y: c.y + 4, "text-anchor": "middle" }, `${Math.round(degrees)}°`));
  }
  const [from, to] = [stage.seen(centre), at(angle)];
  if (from && to) out.push(svg("line", { class: "tick", x1: from.x, y1: from.y, x2: to.x, y2: to.y }));
  return out;
}
