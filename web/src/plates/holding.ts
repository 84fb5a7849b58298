// The hand on a posed figure: a limb that is dragged, or the pointer of an arc that is turned.
import { Plane, Quaternion, Vector3 } from "three";
import type { Joint } from "../api";
import { grasped, pointedAt, type Seat } from "../arcs";
import { follow, get, set } from "../ik";
import type { Sheet } from "../sheet";
import type { PosesPlate } from "./poses";

/** Where a joint's arcs lie in the pose that is on the stage. */
export function seatOf(sheet: Sheet, joint: Joint): Seat | null {
  const node = sheet.figure?.nodes.get(joint.name);
  if (!node?.parent) return null;
  return { centre: node.getWorldPosition(new Vector3()), turn: node.parent.getWorldQuaternion(new Quaternion()) };
}

/** Take hold of what is under the pointer; false where there is nothing to hold. */
export function takeHold(sheet: Sheet, plate: PosesPlate, event: PointerEvent): boolean {
  const canvas = event.target as HTMLElement;
  const box = canvas.getBoundingClientRect();
  const at = (e: PointerEvent): [number, number] => [e.clientX - box.left, e.clientY - box.top];
  const move = turning(sheet, plate, ...at(event)) ?? dragging(sheet, plate, ...at(event));
  if (!move) return false;
  canvas.setPointerCapture(event.pointerId);
  let moved = false;
  const go = (e: PointerEvent) => {
    moved = true;
    move(...at(e));
    sheet.stage.ask();
  };
  const end = () => {
    canvas.removeEventListener("pointermove", go);
    if (moved) plate.release(sheet);
    else plate.update(sheet);
  };
  canvas.addEventListener("pointermove", go);
  canvas.addEventListener("pointerup", end, { once: true });
  canvas.addEventListener("pointercancel", end, { once: true });
  return true;
}

type Move = (x: number, y: number) => void;

/** The pointer of an arc of the chosen joint. */
function turning(sheet: Sheet, plate: PosesPlate, x: number, y: number): Move | null {
  const joint = sheet.state.joints.find((j) => j.name === plate.chosen);
  const seat = joint && seatOf(sheet, joint);
  if (!joint || !seat) return null;
  const motion = grasped(sheet.stage, joint, seat, (m) => get(plate.angles, joint.name, m) ?? 0, x, y);
  const range = motion ? joint.reached?.[motion] : undefined;
  if (!motion || !range) return null;
  return (px, py) => {
    set(plate.angles, joint.name, motion, pointedAt(sheet.stage, joint, motion, seat, px, py), range);
    sheet.figure?.pose(sheet.state.joints, plate.angles);
  };
}

/** A place on a part comes along with the hand, in the plane that faces the eye. */
function dragging(sheet: Sheet, plate: PosesPlate, x: number, y: number): Move | null {
  const { figure, stage } = sheet;
  if (!figure) return null;
  const hit = stage.under(x, y, [...figure.parts.values()]);
  const part = hit?.object.userData["part"] as string | undefined;
  const joint = sheet.state.joints.find((j) => j.built && (j.child === part || `${j.name}_link` === part));
  if (!hit || !part || !joint) return null;
  plate.chosen = joint.name;
  const point = hit.object.worldToLocal(hit.point.clone());
  const plane = new Plane().setFromNormalAndCoplanarPoint(stage.camera.getWorldDirection(new Vector3()), hit.point);
  return (px, py) => {
    const goal = stage.ray(px, py).ray.intersectPlane(plane, new Vector3());
    if (goal) follow(figure, sheet.state.joints, plate.angles, part, point, goal);
  };
}
