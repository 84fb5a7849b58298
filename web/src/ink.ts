// Ink and wash: how the figure is drawn. A wash in three soft steps, hatching in the shade, and an outline of ink.
import { BackSide, Color, ShaderMaterial, Vector3 } from "three";

const WASH_VERTEX = /* glsl */ `
  varying vec3 vNormal;
  varying vec3 vPlace;
  varying vec3 vOwn;
  void main() {
    vNormal = normalize(normalMatrix * normal);
    vOwn = normal;
    vec4 seen = modelViewMatrix * vec4(position, 1.0);
    vPlace = position;
    gl_Position = projectionMatrix * seen;
  }`;

const WASH_FRAGMENT = /* glsl */ `
  uniform vec3 wash;
  uniform vec3 ink;
  uniform float drawnIn;
  uniform vec3 up;
  varying vec3 vNormal;
  varying vec3 vPlace;
  varying vec3 vOwn;
  void main() {
    vec3 n = normalize(vNormal);
    float lit = max(dot(n, normalize(vec3(-0.5, 0.62, 0.6))), 0.0);
    float side = max(dot(n, normalize(vec3(0.85, 0.05, 0.45))), 0.0);
    float tone = 0.40 + 0.46 * lit + 0.12 * side + 0.14 * (0.5 + 0.5 * n.y);
    // Hatching along tilted level planes of the object, wider where it is darker.
    float wave = 0.5 + 0.5 * cos(dot(vPlace, normalize(vec3(0.45, 0.4, 0.8))) * 7.0);
    float dark = clamp((0.74 - tone) / 0.5, 0.0, 1.0);
    float line = smoothstep(-0.1, 0.1, dark * 0.9 - wave) * 0.5;
    if (dot(up, up) > 0.0) {
      // As it lies on the plate: lines along the layers, as broad as the stair is deep there (layer height times the
      // cosine of the face's angle from the horizontal; none on what lies flat).
      float stair = abs(dot(normalize(vOwn), up));
      stair = stair > 0.99 ? 0.0 : stair;
      float level = 0.5 + 0.5 * cos(dot(vPlace, up) * 9.0);
      line = smoothstep(-0.1, 0.1, stair * stair * 0.8 - 0.12 - level) * 0.6;
    }
    vec3 colour = mix(wash * tone, ink, max(line, drawnIn * 0.35));
    gl_FragColor = vec4(colour, 1.0);
    #include <colorspace_fragment>
  }`;

const OUTLINE_VERTEX = /* glsl */ `
  uniform float width;
  uniform vec2 size;
  void main() {
    vec4 at = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
    vec3 n = normalize(normalMatrix * normal);
    at.xy += normalize(n.xy + 1e-5) * width / size * at.w * 2.0;
    at.z += 0.0006 * at.w;
    gl_Position = at;
  }`;

const OUTLINE_FRAGMENT = /* glsl */ `
  uniform vec3 ink;
  void main() {
    gl_FragColor = vec4(ink, 1.0);
    #include <colorspace_fragment>
  }`;

export interface Inks {
  paper: Color;
  ink: Color;
  accent: Color;
}

/** The wash is light on either paper, so what is hatched on it is dark. */
const HATCHING = new Color("#29211b");

export function washMaterial(wash: Color): ShaderMaterial {
  return new ShaderMaterial({
    vertexShader: WASH_VERTEX,
    fragmentShader: WASH_FRAGMENT,
    uniforms: {
      wash: { value: wash },
      ink: { value: HATCHING },
      drawnIn: { value: 0 },
      up: { value: new Vector3() },
    },
  });
}

export function outlineMaterial(inks: Inks): ShaderMaterial {
  return new ShaderMaterial({
    vertexShader: OUTLINE_VERTEX,
    fragmentShader: OUTLINE_FRAGMENT,
    side: BackSide,
    uniforms: { ink: { value: inks.ink }, width: { value: 1.6 }, size: { value: [1, 1] } },
  });
}

/** The inks of the paper that is laid out: light or dark, from the sheet's style. */
export function inksOf(sheet: HTMLElement): Inks {
  const style = getComputedStyle(sheet);
  const read = (name: string) => new Color(style.getPropertyValue(name).trim());
  return { paper: read("--paper"), ink: read("--ink"), accent: read("--accent") };
}
