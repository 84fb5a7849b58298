// A limb follows the hand that drags it: cyclic coordinate descent over the joints of its chain, inside their ranges.
// Wang and Chen, IEEE Trans. Robotics and Automation 7 (1991) 489-499.
import { type Object3D, Quaternion, Vector3 } from "three";
import type { Joint } from "./api";
import type { Angles, Figure } from "./figure";

const ROUNDS = 12;

/** Turn the joints between the root and ``part`` so that ``point`` (in the part's own place) comes to ``goal``. */
export function follow(
  figure: Figure,
  joints: Joint[],
  angles: Angles,
  part: string,
  point: Vector3,
  goal: Vector3,
): void {
  const chain = chainOf(figure, joints, part);
  const mesh = figure.parts.get(part);
  if (!mesh) return;
  const tip = () => {
    figure.root.updateMatrixWorld(true);
    return mesh.localToWorld(point.clone());
  };
  for (let round = 0; round < ROUNDS; round++) {
    for (const joint of chain) {
      const node = figure.nodes.get(joint.name)!;
      for (const [motion, axis] of Object.entries(joint.axes ?? {})) {
        const range = joint.reached?.[motion];
        if (!range || range[1]! - range[0]! < 0.5) continue;
        const at = tip();
        const centre = node.getWorldPosition(new Vector3());
        const about = worldAxis(node, axis);
        const a = at.clone().sub(centre).projectOnPlane(about);
        const b = goal.clone().sub(centre).projectOnPlane(about);
        if (a.lengthSq() < 1e-6 || b.lengthSq() < 1e-6) continue;
        const turn = (Math.atan2(a.clone().cross(b).dot(about), a.dot(b)) * 180) / Math.PI;
        set(angles, joint.name, motion, (get(angles, joint.name, motion) ?? 0) + 0.6 * turn, range);
        figure.pose(joints, angles);
      }
    }
    if (tip().distanceTo(goal) < 0.3) return;
  }
}

export function get(angles: Angles, joint: string, motion: string): number | undefined {
  return angles.get(joint)?.get(motion);
}

export function set(angles: Angles, joint: string, motion: string, degrees: number, range: readonly number[]): void {
  const kept = Math.max(range[0]!, Math.min(range[1]!, degrees));
  if (!angles.has(joint)) angles.set(joint, new Map());
  angles.get(joint)!.set(motion, kept);
}

/** The joints that move a part, the nearest first, at most four: a hand moves its arm and not the whole figure. */
function chainOf(figure: Figure, joints: Joint[], part: string): Joint[] {
  const out: Joint[] = [];
  for (let node: Object3D | null = figure.parts.get(part) ?? null; node && out.length < 4; node = node.parent) {
    const joint = joints.find((j) => figure.nodes.get(j.name) === node && j.built);
    if (joint) out.push(joint);
  }
  return out;
}

function worldAxis(node: Object3D, axis: readonly number[]): Vector3 {
  const parent = node.parent!.getWorldQuaternion(new Quaternion());
  return new Vector3(axis[0], axis[1], axis[2]).applyQuaternion(parent).normalize();
}
