"""What happens to a label between the printer and the camera, made from a seed.

A label is a flat texture in modules. It is laid on a plane or round a cylinder, turned, tilted and
seen through a pinhole, pixel by pixel along each ray; then light, glare, dirt, blur, noise and JPEG
are added. Every amount is a field of `Damage`, so that a test can push one alone past its bound.
"""

import io
from dataclasses import dataclass

import cv2
import numpy as np
import qrcode
from PIL import Image

QUIET = 4  # modules of paper round the symbol that belong to it
PAPER = 3  # and beyond those, until the label's edge
TEXTURE = 12  # pixels of texture for one module
BAND = 64  # rows that are seen at a time, so that a large picture fits in memory


@dataclass(frozen=True)
class Damage:
    """How a label fares.

    turn_deg: in the picture's plane. tilt_deg: away from the camera, towards tilt_way_deg.
    arc_deg: how far the symbol with its quiet zone reaches round a cylinder whose axis lies at
    axis_deg on it; 0 flat.
    pixels: of the narrowest module in the picture. blur: sigma in modules. contrast: symbol
    contrast (ISO/IEC 15415: lightest less darkest reflectance), 0 to 1, of paper `paper`.
    covered: share of the symbol, outside the finder patterns, in `blots` spots of grey `dirt`.
    glare: share of the symbol blown out by a bright spot. shade: light lost from one edge of the
    picture to the other, 0 to 1. noise: sigma in grey levels. quality: of the JPEG.
    """

    turn_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_way_deg: float = 0.0
    arc_deg: float = 0.0
    axis_deg: float = 0.0
    distance: float = 4.0
    pixels: float = 6.0
    blur: float = 0.2
    paper: float = 0.9
    contrast: float = 0.8
    covered: float = 0.0
    blots: int = 1
    dirt: float = 0.4
    glare: float = 0.0
    shade: float = 0.0
    shade_way_deg: float = 0.0
    noise: float = 1.5
    quality: int = 85


def at_random(rng: np.random.Generator) -> Damage:
    """Return damage anywhere within the bounds that a label must stand."""
    covered = float(rng.uniform(0, 0.08))
    contrast = float(rng.uniform(0.25, 0.9))
    return Damage(
        turn_deg=float(rng.uniform(0, 360)),
        tilt_deg=float(rng.uniform(0, 35)),
        tilt_way_deg=float(rng.uniform(0, 360)),
        arc_deg=float(rng.choice([0.0, rng.uniform(0, 90)])),
        axis_deg=float(rng.uniform(0, 180)),
        distance=float(rng.uniform(2.5, 8)),
        pixels=float(rng.uniform(3, 9)),
        blur=float(rng.uniform(0, 0.6)),
        paper=float(rng.uniform(contrast + 0.05, 0.97)),
        contrast=contrast,
        covered=covered,
        blots=int(rng.integers(1, 4)),
        dirt=float(rng.uniform(0, 1)),
        glare=float(rng.choice([0.0, rng.uniform(0, 0.08 - covered)])),
        shade=float(rng.uniform(0, 0.5)),
        shade_way_deg=float(rng.uniform(0, 360)),
        noise=float(rng.uniform(0, 2.5)),
        quality=int(rng.integers(40, 96)),
    )


def symbol(text: str) -> np.ndarray:
    """Return the modules of a label's QR symbol, correction Q: (size, size) bool, True dark."""
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=0)
    code.add_data(text)
    code.make(fit=True)
    return np.array(code.modules, dtype=bool)


def side_of(text: str, damage: Damage) -> int:
    """Return the side in pixels of the picture of the label that says `text`, damaged so: the
    narrowest module decides, and one seen from almost along the paper needs a very large one."""
    return _View(len(symbol(text)), damage).width // 2


def photographed(
    text: str, damage: Damage, rng: np.random.Generator, printed: np.ndarray | None = None
) -> bytes:
    """Return a JPEG of the label that says `text`, damaged so; `rng` places spots and noise.

    `printed`: how the label was printed, 0 (ink) to 1 (paper), `TEXTURE` pixels for one module, its
    symbol in the middle with `QUIET` + `PAPER` modules round it; else the bare symbol is taken.
    """
    modules = symbol(text)
    size = len(modules)
    label = _texture(modules, damage, rng, printed)
    view = _View(size, damage)
    seen = _surroundings((view.width, view.width), rng)
    for top in range(0, view.width, BAND):
        band = seen[top : top + BAND]
        places = view.places(top, top + len(band))
        drawn = cv2.remap(
            label, *places, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=-1
        )
        np.copyto(band, drawn, where=drawn >= 0)
    seen = cv2.resize(seen, (view.width // 2, view.width // 2), interpolation=cv2.INTER_AREA)
    seen *= _light(seen.shape, damage)
    if damage.glare:
        seen += _glare(seen.shape, size, view, damage, rng)
    if damage.blur:
        seen = cv2.GaussianBlur(seen, (0, 0), damage.blur * view.typical_pixels)
    levels = seen * 255 + rng.normal(0, max(damage.noise, 1e-6), seen.shape)
    buffer = io.BytesIO()
    Image.fromarray(np.clip(levels, 0, 255).astype(np.uint8)).save(
        buffer, "JPEG", quality=damage.quality
    )
    return buffer.getvalue()


def _texture(
    modules: np.ndarray, damage: Damage, rng: np.random.Generator, printed: np.ndarray | None
) -> np.ndarray:
    """Return the label's reflectance, 0 to 1, with its dirt."""
    size = len(modules)
    light = np.full((size + 2 * (QUIET + PAPER),) * 2, damage.paper, np.float32)
    inner = slice(QUIET + PAPER, QUIET + PAPER + size)
    light[inner, inner][modules] = damage.paper - damage.contrast
    label = np.repeat(np.repeat(light, TEXTURE, 0), TEXTURE, 1)
    if printed is not None:
        label = (damage.paper - damage.contrast * (1 - printed)).astype(np.float32)
    if damage.covered:
        spots = np.zeros(label.shape, np.uint8)
        share = damage.covered * size * size / damage.blots  # square modules a spot
        for _ in range(damage.blots):
            stretch = rng.uniform(0.6, 1.6)
            across, down = np.sqrt(share / np.pi) * stretch, np.sqrt(share / np.pi) / stretch
            x, y = _outside_finders(size, max(across, down), rng)
            middle = tuple(int((value + QUIET + PAPER) * TEXTURE) for value in (x, y))
            axes = (int(across * TEXTURE), int(down * TEXTURE))
            cv2.ellipse(spots, middle, axes, float(rng.uniform(0, 180)), 0, 360, 1, -1)
        label[spots == 1] = damage.dirt
    return label


def _outside_finders(size: int, reach: float, rng: np.random.Generator) -> tuple[float, float]:
    """Return a place on the symbol, `reach` modules clear of every finder pattern."""
    while True:
        x, y = rng.uniform(0, size, 2)
        clear = 8 + reach
        if (x > clear or clear < y < size - clear) and (x < size - clear or y > clear):
            return float(x), float(y)


class _View:
    """The pinhole and the label's surface. Lengths are in modules, the symbol's middle is 0."""

    def __init__(self, size: int, damage: Damage) -> None:
        self.size, self.damage = size, damage
        self.half = size / 2 + QUIET + PAPER
        self.radius = (size + 2 * QUIET) / np.radians(damage.arc_deg) if damage.arc_deg else 0.0
        tilt, way, turn = np.radians([damage.tilt_deg, damage.tilt_way_deg, damage.turn_deg])
        axis = np.array([np.cos(way), np.sin(way), 0])
        cross = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
        tilted = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * (cross @ cross)
        spin = np.array(
            [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
        )
        self.rotation = spin @ tilted
        self.camera = damage.distance * size  # from the symbol's middle
        narrowest, self.typical_modules = self._module_widths()
        self.focal = damage.pixels / narrowest  # pixels for one module at unit depth
        self.typical_pixels = self.focal * self.typical_modules
        corners = self._projected(*np.meshgrid([-self.half, self.half], [-self.half, self.half]))
        reach = np.abs(corners).max() * self.focal * 1.15
        self.width = 2 * (int(reach * 2) // 2 * 2 + 2)  # twice as fine as the picture

    def _surface(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Return where label points lie in space, (..., 3), seen from its own middle."""
        if not self.radius:
            return np.stack([u, v, np.zeros_like(u, dtype=float)], -1)
        c, s = np.cos(np.radians(self.damage.axis_deg)), np.sin(np.radians(self.damage.axis_deg))
        along, round_ = c * u + s * v, -s * u + c * v
        angle = round_ / self.radius
        bent, depth = self.radius * np.sin(angle), self.radius * (1 - np.cos(angle))
        return np.stack([c * along - s * bent, s * along + c * bent, depth], -1)

    def _projected(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        points = self._surface(u, v) @ self.rotation.T
        return np.asarray(points[..., :2] / (points[..., 2:] + self.camera))

    def _module_widths(self) -> tuple[float, float]:
        """Return the narrowest and the typical module, at focal length 1."""
        at = np.linspace(-self.size / 2, self.size / 2, 9)
        u, v = np.meshgrid(at, at)
        here = self._projected(u, v)
        step = 0.1
        across = (self._projected(u + step, v) - here) / step
        down = (self._projected(u, v + step) - here) / step
        area = np.abs(across[..., 0] * down[..., 1] - across[..., 1] * down[..., 0])
        longer = np.maximum(
            np.hypot(*np.moveaxis(across, -1, 0)), np.hypot(*np.moveaxis(down, -1, 0))
        )
        return float((area / longer).min()), float(np.sqrt(area).mean())

    def places(self, top: int, end: int) -> tuple[np.ndarray, np.ndarray]:
        """Return, for each pixel of these rows, the texture's place that its ray meets (far
        outside: none)."""
        at = (np.arange(self.width) + 0.5 - self.width / 2) / (2 * self.focal)
        x, y = np.meshgrid(at, at[top:end])
        rays = np.stack([x, y, np.ones_like(x)], -1) @ self.rotation
        eye = np.array([0, 0, -self.camera]) @ self.rotation
        if not self.radius:
            far = -eye[2] / rays[..., 2]
            u, v = eye[0] + far * rays[..., 0], eye[1] + far * rays[..., 1]
            missed = far <= 0
        else:
            u, v, missed = self._on_cylinder(eye, rays)
        scale, shift = TEXTURE, self.half * TEXTURE - 0.5
        u, v = np.where(missed, 1e6, u), np.where(missed, 1e6, v)
        return (u * scale + shift).astype(np.float32), (v * scale + shift).astype(np.float32)

    def _on_cylinder(
        self, eye: np.ndarray, rays: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        c, s = np.cos(np.radians(self.damage.axis_deg)), np.sin(np.radians(self.damage.axis_deg))
        # across the axis, and depth from the axis
        ex, ez = -s * eye[0] + c * eye[1], eye[2] - self.radius
        rx, rz = -s * rays[..., 0] + c * rays[..., 1], rays[..., 2]
        a, b, k = rx * rx + rz * rz, ex * rx + ez * rz, ex * ex + ez * ez - self.radius**2
        inside = b * b - a * k
        far = (-b - np.sqrt(np.maximum(inside, 0))) / a  # the nearer side
        angle = np.arctan2(ex + far * rx, -(ez + far * rz))
        round_ = angle * self.radius
        along = (c * eye[0] + s * eye[1]) + far * (c * rays[..., 0] + s * rays[..., 1])
        missed = (inside < 0) | (far <= 0) | (np.abs(angle) > 1.4)
        return c * along - s * round_, s * along + c * round_, missed


def _surroundings(shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Return something to lie on: soft blotches of grey."""
    coarse = rng.uniform(0.1, 0.9, (6, 6)).astype(np.float32)
    return cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _light(shape: tuple[int, ...], damage: Damage) -> np.ndarray:
    way = np.radians(damage.shade_way_deg)
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    along = (x * np.cos(way) + y * np.sin(way)) / np.sqrt(2)
    return np.asarray(1 - damage.shade * (along + 1) / 2, np.float32)


def _glare(
    shape: tuple[int, ...], size: int, view: _View, damage: Damage, rng: np.random.Generator
) -> np.ndarray:
    """Return light to add: a soft spot that blows out the share asked for."""
    reach = np.sqrt(damage.glare * size * size / np.pi)
    u, v = _outside_finders(size, reach * 1.5, rng)
    place = view._projected(np.array(u - size / 2), np.array(v - size / 2)) * view.focal
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    away = np.hypot(x - shape[1] / 2 - place[0], y - shape[0] / 2 - place[1])
    # just strong enough at `reach` to turn ink white, and gone soon after, as a lamp's image is
    spot = np.exp(-((away / (reach * view.typical_pixels)) ** 4) * np.log(2))
    return np.asarray(2 * (1 - damage.paper + damage.contrast) * spot, np.float32)
