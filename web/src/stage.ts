// The stage: camera, light feet, and drawing only when something has changed.
import { Box3, Object3D, PerspectiveCamera, Raycaster, Scene, Vector2, Vector3, WebGLRenderer } from "three";

const SLOW_MS = 30;
/** Dots per CSS pixel along each side: finely at rest, so that edges are soft; coarser step by step in motion. */
const RATIOS = [2, 1, 0.5, 0.35];
const REST_MS = 250;

export class Stage {
  readonly scene = new Scene();
  readonly camera = new PerspectiveCamera(24, 1, 10, 4000);
  private readonly renderer: WebGLRenderer;
  private azimuth = 0.45;
  private elevation = 0.1;
  private distance = 520;
  private readonly target = new Vector3(0, 75, 0);
  private asked = false;
  private last = 0;
  private slow = 0;
  /** How far down the ratios this machine has to go to keep up: found in the first movement, kept for the next. */
  private pace = 1;
  private ratio = 0;
  private resting: ReturnType<typeof setTimeout> | undefined;
  private readonly watchers: (() => void)[] = [];
  private readonly resters: (() => void)[] = [];
  private readonly sizers: ((w: number, h: number) => void)[] = [];
  width = 1;
  height = 1;

  constructor(private readonly canvas: HTMLCanvasElement) {
    this.renderer = new WebGLRenderer({ canvas, antialias: false, alpha: true });
    this.renderer.setClearColor(0x000000, 0);
    new ResizeObserver(() => this.fit()).observe(canvas.parentElement!);
    this.hands();
    this.fit();
  }

  onDraw(watcher: () => void): void {
    this.watchers.push(watcher);
  }

  /** Called when the hand that turned the figure comes to rest. */
  onRest(watcher: () => void): () => void {
    this.resters.push(watcher);
    return () => void this.resters.splice(this.resters.indexOf(watcher), 1);
  }

  onSize(sizer: (w: number, h: number) => void): void {
    this.sizers.push(sizer);
    sizer(this.width, this.height);
  }

  /** Draw soon; many asks make one picture. */
  ask(): void {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame((now) => {
      this.asked = false;
      this.hurry(now);
      this.place();
      this.renderer.render(this.scene, this.camera);
      for (const watcher of this.watchers) watcher();
    });
  }

  /** Whether pictures are coarse now. */
  get coarse(): boolean {
    return this.ratio > 1;
  }

  /** Told when pictures become coarse, and when they are drawn in full again. */
  onCoarse: ((coarse: boolean) => void) | null = null;

  /** Where pictures follow each other too slowly they are drawn coarser, and once more in full when all is at rest. */
  private hurry(now: number): void {
    const gap = now - this.last;
    this.last = now;
    const moving = gap < 400;
    if (!moving) this.slow = 0;
    else if (gap > SLOW_MS && ++this.slow >= 3 && this.pace < RATIOS.length - 1) {
      this.pace += 1;
      this.slow = 0;
    }
    if (moving) this.sharpen(this.pace);
    clearTimeout(this.resting);
    if (this.ratio > 0) this.resting = setTimeout(() => this.rest(), REST_MS);
  }

  private rest(): void {
    this.sharpen(0);
    this.last = -Infinity; // so that this one picture is no movement
    this.ask();
  }

  private sharpen(ratio: number): void {
    if (ratio === this.ratio) return;
    const before = this.coarse;
    this.ratio = ratio;
    if (this.coarse !== before) this.onCoarse?.(this.coarse);
    this.renderer.setPixelRatio(RATIOS[ratio]!);
  }

  /** Bring the whole of something into view, with so many times its size around it. */
  frame(object: Object3D, room = 1): void {
    const box = new Box3().setFromObject(object);
    if (box.isEmpty()) return;
    box.getCenter(this.target);
    const size = box.getSize(new Vector3());
    const tall = Math.max(size.y, size.x / this.camera.aspect, (0.9 * size.z) / this.camera.aspect);
    this.distance = (room * tall * 0.62) / Math.tan((this.camera.fov * Math.PI) / 360);
    this.ask();
  }

  /** Where a point of the stage is seen, in CSS pixels; null behind the eye. */
  seen(point: Vector3): { x: number; y: number } | null {
    const p = point.clone().project(this.camera);
    if (p.z > 1) return null;
    return { x: ((p.x + 1) / 2) * this.width, y: ((1 - p.y) / 2) * this.height };
  }

  /** The first of some objects under a point of the canvas, and where it is hit. */
  under(x: number, y: number, objects: Object3D[]): { object: Object3D; point: Vector3 } | null {
    const ray = this.ray(x, y);
    const hit = ray.intersectObjects(objects, false)[0];
    return hit ? { object: hit.object, point: hit.point } : null;
  }

  ray(x: number, y: number): Raycaster {
    const at = new Vector2((x / this.width) * 2 - 1, 1 - (y / this.height) * 2);
    const ray = new Raycaster();
    ray.setFromCamera(at, this.camera);
    return ray;
  }

  turn(azimuth: number, elevation: number): void {
    this.azimuth += azimuth;
    this.elevation = Math.max(-1.4, Math.min(1.4, this.elevation + elevation));
    this.ask();
  }

  nearer(factor: number): void {
    this.distance = Math.max(30, Math.min(3000, this.distance * factor));
    this.ask();
  }

  look(azimuth: number, elevation: number): void {
    this.azimuth = azimuth;
    this.elevation = elevation;
    this.ask();
  }

  /** Which way the eye looks from: azimuth in radians from the figure's front. */
  get facing(): number {
    return this.azimuth;
  }

  /** Whether a drag on the canvas turns the figure: another hand may take it. */
  held: ((event: PointerEvent) => boolean) | null = null;

  private hands(): void {
    let last: PointerEvent | null = null;
    this.canvas.addEventListener("pointerdown", (e) => {
      if (this.held?.(e)) return;
      last = e;
      this.canvas.setPointerCapture(e.pointerId);
    });
    this.canvas.addEventListener("pointermove", (e) => {
      if (!last) return;
      this.turn((last.clientX - e.clientX) * 0.008, (e.clientY - last.clientY) * 0.006);
      last = e;
    });
    const rest = () => requestAnimationFrame(() => this.resters.forEach((r) => r()));
    const end = () => {
      if (last) rest();
      last = null;
    };
    this.canvas.addEventListener("pointerup", end);
    this.canvas.addEventListener("pointercancel", end);
    this.canvas.addEventListener(
      "wheel",
      (e) => {
        e.preventDefault();
        this.nearer(Math.exp(e.deltaY * 0.001));
      },
      { passive: false },
    );
    this.canvas.addEventListener("keydown", (e) => {
      const step = 0.12;
      if (e.key === "ArrowLeft") this.turn(step, 0);
      else if (e.key === "ArrowRight") this.turn(-step, 0);
      else if (e.key === "ArrowUp") this.turn(0, step);
      else if (e.key === "ArrowDown") this.turn(0, -step);
      else if (e.key === "+" || e.key === "=") this.nearer(0.9);
      else if (e.key === "-") this.nearer(1.1);
      else return;
      e.preventDefault();
      rest();
    });
  }

  private place(): void {
    // The figure faces the stage's z; its left is x.
    const { azimuth: a, elevation: e, distance: d } = this;
    this.camera.position.set(
      this.target.x + d * Math.sin(a) * Math.cos(e),
      this.target.y + d * Math.sin(e),
      this.target.z + d * Math.cos(a) * Math.cos(e),
    );
    this.camera.near = Math.max(1, d - 600);
    this.camera.far = d + 900;
    this.camera.updateProjectionMatrix();
    this.camera.lookAt(this.target);
    this.camera.updateMatrixWorld();
  }

  private fit(): void {
    const box = this.canvas.parentElement!.getBoundingClientRect();
    this.width = Math.max(1, box.width);
    this.height = Math.max(1, box.height);
    this.renderer.setPixelRatio(RATIOS[this.ratio]!);
    this.renderer.setSize(this.width, this.height, false);
    this.camera.aspect = this.width / this.height;
    for (const sizer of this.sizers) sizer(this.width, this.height);
    this.ask();
  }
}
