"""A review as a person at the window sees it: position label, picture, strip and pass table."""

import re

from desk import children, grey_pixels, name_of, role_of, texts, wait

# "Lap 3 · T4, at apex · 412 m · 83.4 km/h · 2:13.456"; lap, corner and distance are left out where there are none.
POSITION = re.compile(
    r"(?:Lap (?P<lap>\d+) · )?(?:(?P<corner>T\d+)(?: of lap \d+)?, (?P<phase>[a-z -]+) · )?(?:(?P<distance_m>\d+) m · )?"
    r"(?P<speed>[\d.]+) (?P<unit>km/h|mph|m/s) · (?:(?P<minutes>\d+):)?(?P<seconds>\d+\.\d{3})"
)
FRAME_S = 0.04
WIDTH, HEIGHT = 640, 360


class Review:
    """The review page of a desk, on the sample of `sample-data`, whose frames carry their numbers."""

    def __init__(self, desk, log_t_s_at_zero):
        self.desk = desk
        self.log_t_s_at_zero = log_t_s_at_zero
        self.label = desk.expect("label", POSITION.pattern)
        self.picture = desk.expect("image", "Footage")
        self.strip = desk.expect("slider", "Lap strip")
        # Steps count frames once all of them are known.
        self.wait_for_picture()

    def position(self):
        """The position label, taken apart: `t_s` in s, `distance_m`, `speed`, `unit`, `lap`, `corner`."""
        words = name_of(self.label)
        found = POSITION.fullmatch(words)
        assert found, f"the position label says {words!r}"
        parts = found.groupdict()
        parts["t_s"] = 60 * int(parts["minutes"] or 0) + float(parts["seconds"])
        for part in ("lap", "distance_m"):
            parts[part] = None if parts[part] is None else int(parts[part])
        parts["speed"] = float(parts["speed"])
        return parts

    def frame(self):
        """Number of the frame that the position label speaks of, counted from the first of the footage."""
        return round((self.position()["t_s"] - self.log_t_s_at_zero) / FRAME_S)

    def frame_on_show(self, picture=None):
        """Number of the frame that is seen in a picture, the first unless given, read from its code; `None` where there
        is none."""
        left, top, width, height = self.desk.box(picture or self.picture)
        scale = min(width / WIDTH, height / HEIGHT)
        left += round((width - WIDTH * scale) / 2)
        top += round((height - HEIGHT * scale) / 2)
        side = HEIGHT / 45 * scale
        columns = round(16 * side)
        pixels = grey_pixels((left, top, columns, round(2 * side)))

        def is_white(cell):
            x, y = (cell % 16 + 0.5) * side, (cell // 16 + 0.5) * side
            return pixels[int(y) * columns + int(x)] > 127

        bits = [is_white(cell) for cell in range(32)]
        if bits[:4] != [True, False, True, False]:
            return None
        number = int("".join("01"[it] for it in bits[4:28]), 2)
        check = ~sum((number >> 4 * place & 15) * (2 * place + 1) for place in range(6)) & 15
        return number if check == int("".join("01"[it] for it in bits[28:]), 2) else None

    def wait_for_picture(self):
        """Until the frame that is seen is the one that the label speaks of; its number."""
        wait(f"frame {self.frame()} in the picture", lambda: self.frame_on_show() == self.frame())
        return self.frame()

    def act(self, what, do):
        """Does something that moves the playhead; the position when it has."""
        before = name_of(self.label)
        do()
        wait(f"another position than {before!r} after {what}", lambda: name_of(self.label) != before)
        return self.position()

    def press(self, key):
        return self.act(key, lambda: self.desk.key(key))

    def step(self, key, times):
        """Presses a key so many times, and waits until the label has followed all of them."""
        target = self.frame() + (times if key == "Right" else -times)
        self.desk.key(*[key] * times)
        wait(f"frame {target} after {times} times {key}", lambda: self.frame() == target)

    def table(self):
        """All figures of the pass table."""
        return texts(self.desk.expect("tree table"))


def button(desk, name):
    """A button that may be unnamed inside: the toolkit puts some into others."""
    for node in desk.all():
        if role_of(node) in ("push button", "toggle button") and name_of(node) == name:
            return next((it for it in children(node) if role_of(it) == "push button"), node)
    return None
