"""One program on one display, used as a person uses it.

Takes a program and its arguments; gives keys, clicks, screenshots, and what the program says of itself over AT-SPI.
Never sleeps: each wait looks at the accessible tree, or at a file, until it shows what is waited for, and fails aloud
when that takes too long.
"""

import contextlib
import os
import re
import subprocess
import sys
import tempfile
import time

import gi

gi.require_version("Atspi", "2.0")
from gi.repository import Atspi, GLib  # noqa: E402

# The machine of the tests may be slow, and a book takes a second or two to open.
PATIENCE_S = 30.0
# How often the tree is looked at while nothing is told.
LOOK_AGAIN_MS = 20
# What the toolkit says where it is used wrongly.
COMPLAINT = re.compile(r".*-(WARNING|CRITICAL) \*\*.*")
# What the toolkit says where nobody has given a name.
CLASS_NAME = re.compile(r"Gtk[A-Z]\w*")


class Trouble(Exception):
    """What was waited for did not come."""


def wait(what, look, patience_s=PATIENCE_S):
    """The first answer of `look` that is not false; nodes that vanish meanwhile are looked for again."""
    end = time.monotonic() + patience_s
    answer = None
    while time.monotonic() < end:
        try:
            answer = look()
        except GLib.Error:
            answer = None
        if answer:
            return answer
        turn_of_the_loop()
    raise Trouble(f"waited {patience_s:.0f} s for {what}")


def turn_of_the_loop():
    """Hears what the program tells, for a moment at most."""
    context = GLib.MainContext.default()
    source = GLib.timeout_source_new(LOOK_AGAIN_MS)
    source.set_callback(lambda *_: False)
    source.attach(context)
    context.iteration(True)
    while context.pending():
        context.iteration(False)
    source.destroy()


def name_of(node):
    """What a person who cannot see it hears; the toolkit calls what nobody has named by the name of its class."""
    name = node.get_name() or ""
    return "" if CLASS_NAME.fullmatch(name) else name


def role_of(node):
    return node.get_role_name()


def has_state(node, state):
    return node.get_state_set().contains(state)


def children(node):
    for number in range(node.get_child_count()):
        child = node.get_child_at_index(number)
        if child is not None:
            yield child


def walk(node):
    """The node and all that hang on it, as far as they can be seen."""
    yield node
    below = list(children(node))
    if len(below) > 1 and all(it.get_name() == "GtkStackPage" for it in below):
        below = pages_on_top(node, below)
    for child in below:
        if has_state(child, Atspi.StateType.VISIBLE):
            yield from walk(child)


def window_of(node):
    """The window that a node is in: what hangs on the application itself."""
    while (above := node.get_parent()) is not None and role_of(above) != "application":
        node = above
    return node


def pages_on_top(stack, pages):
    """The page of a stack that is seen, by what lies under a point in its middle; none while it has no size. All pages
    where the toolkit does not know what lies there, as in a list."""
    box = stack.get_component_iface().get_extents(Atspi.CoordType.WINDOW)
    if box.width == 0:
        return []
    x, y = box.x + box.width // 2, box.y + box.height // 2
    # Asked of the window: the toolkit takes the place for one in the window, whomever one asks.
    node = window_of(stack).get_component_iface().get_accessible_at_point(x, y, Atspi.CoordType.WINDOW)
    while node is not None and node not in pages:
        node = node.get_parent()
    return pages if node is None else [node]


def texts(node):
    """All names under a node."""
    return [name for name in map(name_of, walk(node)) if name]


def pull(begin, end):
    """Presses the pointer at one place of the display, and lets go at another."""
    xdotool("mousemove", *map(str, begin), "mousedown", "1")
    for part in (0.02, 0.1, 0.3, 0.6, 0.9, 0.97, 1.0):
        xdotool("mousemove", *(str(round(a + part * (b - a))) for a, b in zip(begin, end)))
        # Who gives and who takes come to an arrangement while the pointer moves.
        for _ in range(5):
            turn_of_the_loop()
    xdotool("mouseup", "1")


@contextlib.contextmanager
def display(size="1500x950"):
    """A display of its own, at a number that the server finds free itself; programs started meanwhile use it."""
    read_end, write_end = os.pipe()
    command = ["Xvfb", "-displayfd", str(write_end), "-screen", "0", f"{size}x24", "-nolisten", "tcp"]
    with subprocess.Popen(command, pass_fds=[write_end], stderr=subprocess.DEVNULL) as server:
        try:
            os.close(write_end)
            with os.fdopen(read_end) as told:
                os.environ["DISPLAY"] = f":{told.readline().strip()}"
            yield
        finally:
            server.terminate()


class Desk:
    """The program as it runs. To be used in a `with`: it ends with it."""

    def __init__(self, *command, pictures=None):
        # What was true a moment ago is of no use here.
        Atspi.get_desktop(0).set_cache_mask(Atspi.Cache.NONE)
        self.told = tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace")
        self.program = subprocess.Popen(command, stdin=subprocess.DEVNULL, stderr=self.told)
        self.pictures = pictures
        try:
            self.tree = wait("the program's window in the accessible tree", self._own_tree)
        except BaseException:
            self.program.kill()
            raise

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        if kind is not None and self.pictures:
            self.picture("failed")
        self.program.kill()
        self.program.wait()
        self.told.seek(0)
        told = self.told.read()
        sys.stderr.write(told)
        complaints = [line for line in told.splitlines() if COMPLAINT.fullmatch(line)]
        if kind is None and complaints:
            raise Trouble(f"the program printed {complaints}")

    def _own_tree(self):
        if self.program.poll() is not None:
            raise Trouble(f"the program ended with code {self.program.returncode}")
        desktop = Atspi.get_desktop(0)
        for number in range(desktop.get_child_count()):
            application = desktop.get_child_at_index(number)
            if application and application.get_process_id() == self.program.pid and application.get_child_count():
                return application
        return None

    # What is seen.

    def all(self):
        yield from walk(self.tree)

    def find(self, role, name=None):
        """The first node that is showing whose role and name match these patterns; `None` where there is none."""
        for node in self.all():
            if re.fullmatch(role, role_of(node)) and (name is None or re.fullmatch(name, name_of(node))):
                return node
        return None

    def expect(self, role, name=None):
        return wait(f"{role} {name!r}", lambda: self.find(role, name))

    def has_label(self, pattern):
        """Whether a label says what the pattern matches."""
        return self.find("label", pattern) is not None

    def is_open(self):
        """Whether the program still runs."""
        return self.program.poll() is None

    # What is done.

    def key(self, *keys):
        xdotool("key", "--clearmodifiers", *keys)

    def box(self, node):
        """Left, top, width, height of a node on the display, px: windows have a border that the tree leaves out."""
        top = window_of(node)
        inner = top.get_component_iface().get_extents(Atspi.CoordType.WINDOW)
        search = ["search", "--all", "--onlyvisible", "--pid", str(self.program.pid), "--name", f"^{name_of(top)}$"]
        window = wait("the window on the display", lambda: xdotool(*search, may_fail=True).split())[0]
        shell = dict(line.split("=") for line in xdotool("getwindowgeometry", "--shell", window).split())
        border = [(int(shell[side]) - length) // 2 for side, length in (("WIDTH", inner.width), ("HEIGHT", inner.height))]
        box = node.get_component_iface().get_extents(Atspi.CoordType.WINDOW)
        return box.x + border[0] + int(shell["X"]), box.y + border[1] + int(shell["Y"]), box.width, box.height

    def click(self, node, along=0.5, down=0.5):
        """Clicks into a node, at these shares of its width and height."""
        left, top, width, height = self.box(node)
        x, y = round(left + along * width), round(top + down * height)
        xdotool("mousemove", str(x), str(y), "click", "1")

    def drag(self, node, from_share, to_share):
        """Drags inside a node, from and to these shares of its width and height."""
        left, top, width, height = self.box(node)

        def move(share):
            xdotool("mousemove", str(round(left + share[0] * width)), str(round(top + share[1] * height)))

        move(from_share)
        xdotool("mousedown", "1")
        # A drag begins once the pointer has gone some way.
        for part in (0.3, 0.6, 1.0):
            move([a + part * (b - a) for a, b in zip(from_share, to_share)])
        xdotool("mouseup", "1")

    def drop(self, node, *files):
        """Drags files from another program's window into the middle of a node, and drops them there."""
        command = (sys.executable, os.path.join(os.path.dirname(__file__), "drag.py"), *files)
        with Desk(*command, pictures=self.pictures) as other:
            label = other.expect("label")
            from_left, from_top, from_width, from_height = other.box(label)
            left, top, width, height = self.box(node)
            ends = (from_left + from_width // 2, from_top + from_height // 2), (left + width // 2, top + height // 2)
            pull(*ends)
            other.expect("label", "Dropped")

    def drag_onto(self, node, target):
        """Drags what a node stands for onto another node."""
        boxes = map(self.box, (node, target))
        pull(*((left + width // 2, top + height // 2) for left, top, width, height in boxes))

    def type(self, text):
        xdotool("type", "--delay", "5", text)

    def choose(self, item, key="Down"):
        """Goes to an item of the menu that is open, by a key, and chooses it."""
        node = self.expect("(radio )?menu item", item)
        for _ in range(20):
            if has_state(node, Atspi.StateType.FOCUSED):
                break
            self.key(key)
            wait("the next item", lambda: any(has_state(it, Atspi.StateType.FOCUSED) for it in self.all()))
        self.key("Return")

    def picture(self, name):
        """A screenshot under the name, kept; its path."""
        path = os.path.join(self.pictures, f"{name}.png")
        subprocess.run(["import", "-window", "root", path], check=True)
        return path


def xdotool(*arguments, may_fail=False):
    done = subprocess.run(["xdotool", *arguments], stdout=subprocess.PIPE, text=True, check=not may_fail)
    return done.stdout


def grey_pixels(box):
    """What the display shows in a box: brightness, row by row."""
    left, top, width, height = box
    area = f"{width}x{height}+{left}+{top}"
    command = ["import", "-window", "root", "-crop", area, "-depth", "8", "gray:-"]
    pixels = subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout
    assert len(pixels) == width * height, (area, len(pixels))
    return pixels
