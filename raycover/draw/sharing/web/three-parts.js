export {
  AmbientLight, Box3, BufferAttribute, BufferGeometry, Color, DirectionalLight, DoubleSide, FrontSide, BackSide, Group,
  LineBasicMaterial, LineSegments, Mesh, MeshBasicMaterial, MeshLambertMaterial, OrthographicCamera,
  PerspectiveCamera, Plane, Raycaster, Scene, ShaderMaterial, Vector2, Vector3, WebGLRenderer, ColorManagement,
} from "three";
export { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
