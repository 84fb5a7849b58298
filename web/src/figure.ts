// The figure on the stage: parts below joints as figure.glb has them, posed by turning joint nodes.
import { BufferGeometry, Color, Group, Matrix4, Mesh, Object3D, Quaternion, ShaderMaterial, Vector3 } from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";
import type { Joint } from "./api";
import { coarsened } from "./coarse";
import { type Inks, outlineMaterial, washMaterial } from "./ink";

const WASHES = ["#e6d9bd", "#d6ccb6", "#efe4cf"];

const CELL_MM = 2.2;

export type Angles = Map<string, Map<string, number>>;

export class Figure {
  readonly parts = new Map<string, Mesh>();
  readonly nodes = new Map<string, Object3D>();
  readonly root = new Group();
  private readonly outline: ShaderMaterial;
  private readonly edges: Mesh[] = [];
  private readonly fine = new Map<Mesh, BufferGeometry>();
  private readonly rough = new Map<Mesh, BufferGeometry>();
  private readonly home = new Map<string, Vector3>();

  private constructor(scene: Object3D, inks: Inks) {
    this.outline = outlineMaterial(inks);
    // The file is in metres with y up; the stage is too, in millimetres.
    scene.scale.setScalar(1000);
    this.root.add(scene);
    let number = 0;
    const meshes: Mesh[] = [];
    scene.traverse((node) => {
      // The loader leaves colons out of names of nodes.
      if (node.userData["name"]) node.name = node.userData["name"];
      if (node instanceof Mesh) meshes.push(node);
    });
    for (const mesh of meshes) {
      const name = partName(mesh);
      (mesh.geometry as BufferGeometry).computeVertexNormals();
      mesh.material = washMaterial(new Color(WASHES[number++ % WASHES.length]));
      mesh.userData["part"] = name;
      const edge = new Mesh(mesh.geometry, this.outline);
      edge.raycast = () => {};
      mesh.add(edge);
      this.edges.push(edge);
      this.fine.set(mesh, mesh.geometry);
      this.rough.set(mesh, coarsened(mesh.geometry, CELL_MM));
      this.parts.set(name, mesh);
      this.home.set(name, mesh.position.clone());
    }
    scene.traverse((node) => {
      const found = /^joint:?(.*)$/.exec(node.name);
      if (found?.[1]) this.nodes.set(found[1], node);
    });
  }

  static async from(data: ArrayBuffer, inks: Inks): Promise<Figure> {
    const gltf = await new GLTFLoader().parseAsync(data, "");
    return new Figure(gltf.scene, inks);
  }

  resize(width: number, height: number): void {
    this.outline.uniforms["size"]!.value = [width, height];
  }

  /** Turn the joints: degrees by joint and motion, from the sculpt's own pose. Balls swing, then twist. */
  pose(joints: Joint[], angles: Angles): void {
    for (const joint of joints) {
      const node = this.nodes.get(joint.name);
      if (!node) continue;
      const turns = angles.get(joint.name);
      const link = this.nodes.get(`${joint.name}_link`);
      const turn = turnOf(joint, turns, link ? 0.5 : 1);
      node.quaternion.copy(turn);
      link?.quaternion.copy(turn);
    }
  }

  /** Draw the kit apart: every part moves away from the one it hangs on, by a share from 0 to 1. */
  apart(share: number): void {
    const middle = new Map<string, Vector3>();
    for (const [name, mesh] of this.parts) {
      const form = this.fine.get(mesh)!;
      if (!form.boundingBox) form.computeBoundingBox();
      middle.set(name, form.boundingBox!.getCenter(new Vector3()));
    }
    for (const [name, mesh] of this.parts) {
      const home = this.home.get(name)!;
      const step = new Vector3();
      let node: Object3D | null = mesh.parent;
      let from = middle.get(name)!;
      while (node) {
        const above = firstPart(node.parent);
        if (node.name.startsWith("joint") && above && above !== mesh) {
          const to = middle.get(above.userData["part"] as string);
          if (to) {
            step.add(from.clone().sub(to).normalize());
            from = to;
          }
        }
        node = node.parent;
      }
      mesh.position.copy(home).addScaledVector(step, 11 * share);
    }
  }

  /** One part alone, moved on the stage by ``move``; null puts everything back. */
  layDown(part: string | null, move: Matrix4 | null): void {
    this.show((name) => part === null || name === part);
    this.root.matrixAutoUpdate = false;
    this.root.matrix.copy(move ?? new Matrix4());
    this.root.matrixWorldNeedsUpdate = true;
    this.root.updateMatrixWorld(true);
  }

  /** Show how rough the layers leave a part: lines along them, for the direction that points up on its plate. */
  layered(part: string | null, up: Vector3 | null): void {
    for (const [name, mesh] of this.parts) {
      (mesh.material as ShaderMaterial).uniforms["up"]!.value = name === part && up ? up : new Vector3();
    }
  }

  /** Wash parts in their paint; null puts the paper's own washes back. */
  painted(colours: Map<string, Color> | null): void {
    let number = 0;
    for (const [name, mesh] of this.parts) {
      const plain = new Color(WASHES[number++ % WASHES.length]);
      (mesh.material as ShaderMaterial).uniforms["wash"]!.value = colours?.get(name) ?? plain;
    }
  }

  mark(part: string | null, strength = 1): void {
    for (const [name, mesh] of this.parts) {
      (mesh.material as ShaderMaterial).uniforms["drawnIn"]!.value = name === part ? strength : 0;
    }
  }

  show(wanted: (part: string) => boolean): void {
    for (const [name, mesh] of this.parts) mesh.visible = wanted(name);
  }

  /** Coarse forms without outlines while pictures have to follow each other quickly. */
  coarse(on: boolean): void {
    for (const edge of this.edges) edge.visible = !on;
    for (const [mesh, geometry] of on ? this.rough : this.fine) mesh.geometry = geometry;
  }

  dispose(): void {
    for (const mesh of this.parts.values()) {
      this.fine.get(mesh)?.dispose();
      this.rough.get(mesh)?.dispose();
      (mesh.material as ShaderMaterial).dispose();
    }
    this.outline.dispose();
  }
}

function partName(mesh: Mesh): string {
  for (let node: Object3D | null = mesh; node; node = node.parent) {
    const found = /^part:?(.*)$/.exec(node.name);
    if (found?.[1]) return found[1];
  }
  return mesh.name;
}

function firstPart(node: Object3D | null): Mesh | undefined {
  return node?.children.find((c): c is Mesh => c instanceof Mesh && typeof c.userData["part"] === "string");
}

export function turnOf(joint: Joint, turns: Map<string, number> | undefined, share: number): Quaternion {
  const out = new Quaternion();
  if (!turns) return out;
  const axis = (motion: string) => {
    const a = joint.axes?.[motion];
    return a ? new Vector3(a[0], a[1], a[2]) : null;
  };
  const part = (motion: string) => {
    const about = axis(motion);
    const degrees = (turns.get(motion) ?? 0) * share;
    return about ? about.multiplyScalar((degrees * Math.PI) / 180) : new Vector3();
  };
  const swing = part("flex").add(part("abduct"));
  const angle = swing.length();
  if (angle > 1e-9) out.setFromAxisAngle(swing.normalize(), angle);
  const twist = part("twist");
  const turn = twist.length();
  if (turn > 1e-9) out.multiply(new Quaternion().setFromAxisAngle(twist.normalize(), turn));
  return out;
}
