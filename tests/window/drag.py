"""A small window whose label can be dragged elsewhere as files, and says when they have arrived: `drag.py FILE…`. It stands
for a file manager."""

import os
import sys

import gi

gi.require_version("Gtk", "4.0")
gi.require_version("Gdk", "4.0")
from gi.repository import Gdk, Gio, Gtk  # noqa: E402

NAME = "Files to drag"


def show(application, paths):
    files = Gdk.FileList.new_from_list([Gio.File.new_for_path(os.path.abspath(it)) for it in paths])
    source = Gtk.DragSource(content=Gdk.ContentProvider.new_for_value(files), actions=Gdk.DragAction.COPY)
    label = Gtk.Label(label=NAME)
    label.add_controller(source)
    source.connect("drag-end", lambda *_: label.set_label("Dropped"))
    Gtk.ApplicationWindow(application=application, title=NAME, child=label, default_width=160, default_height=80).present()


if __name__ == "__main__":
    application = Gtk.Application(flags=Gio.ApplicationFlags.NON_UNIQUE)
    application.connect("activate", show, sys.argv[1:])
    application.run([])
