# SPDX-License-Identifier: GPL-3.0-or-later
"""The sidebar tab: one panel for the piece, sub-panels made from the spec's tables."""

from __future__ import annotations

from typing import Any

import bpy

from .. import layout
from ..constants import TAB
from ..medalcore.spec import Key, MedalSpec, Table
from ..props import convert, groups, labels
from ..scene import pieces, units
from ..sculpting import operators as sculpting
from ..work import live
from . import key_rows
from .export import MEDALWRIGHT_OT_export_files

ICONS = {"note": "INFO", "warning": "ERROR", "error": "CANCEL"}


class _Panel:
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = TAB


class MEDALWRIGHT_PT_main(_Panel, bpy.types.Panel):
    """State, facts and the main buttons."""

    bl_label = "Medal"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what there is to do."""
        column = self.layout.column()
        piece = context.object
        if sculpting.draw_sheet(column, context):
            return
        if not live.is_piece(piece):
            column.operator("medalwright.new", text="New Medal", icon="MESH_CYLINDER")
            column.operator("medalwright.open_spec", icon="FILE_FOLDER")
        else:
            _draw_state(column, context, piece)
        _draw_units(self.layout, context)


def _draw_state(column: Any, context: bpy.types.Context, piece: bpy.types.Object) -> None:
    job = live.session.builder.job_of(piece.session_uid)
    if job is not None:
        row = column.row(align=True)
        doing = labels.doing(job.label, job.state == "running")
        row.progress(factor=job.fraction, text=doing)
        row.operator("medalwright.stop", text="", icon="X")
    else:
        row = column.row(align=True)
        row.operator("medalwright.make_fine", icon="SHADING_RENDERED")
        row.operator("medalwright.rebuild", text="", icon="FILE_REFRESH")
        row.prop(piece.medalwright, "live", text="", icon="PLAY")
    row = column.row(align=True)
    for side in ("obverse", "reverse"):
        row.operator("medalwright.face", text=f"See {side.capitalize()}").side = side
    trouble = live.trouble_of(piece)
    if trouble:
        layout.wrapped(column, context, labels.told(trouble), icon="ERROR")
    note = live.session.notes.get(piece.session_uid, "")
    if note:
        layout.wrapped(column, context, note, icon="CHECKMARK")
    if live.session.builder.trouble:
        layout.wrapped(column, context, live.session.builder.trouble, icon="INFO")
    built = piece.data.medalwright
    if not built.report:
        return
    report = pieces.report_of(built.report)
    facts = column.box().column(align=True)
    how = "Fine" if built.quality == "fine" else "Quick"  # draft is an angle in this tab
    state = f"{how}, {report['triangles']:,} triangles"
    if job is None and not trouble and not live.is_current(piece):
        state = "Out of date"
    for title, text in (("State", state), *facts_of(report)):
        for i, words in enumerate(layout.fitted(context, text, 0.7)):
            line = facts.split(factor=0.3)
            line.label(text=title if i == 0 else "")
            line.label(text=words)
    if any(abs(factor - 1.0) > 1e-4 for factor in piece.scale):
        text = "The object is scaled: files have the size above"
        layout.wrapped(column, context, text, icon="INFO")


def facts_of(report: dict[str, Any]) -> list[tuple[str, str]]:
    """Return what was measured and what was solved, each with its title."""
    blank = report.get("elements", {}).get("blank", {})
    found = _size_of(report)
    if "solved" in report:
        found.append(("Solved", f"{report['solved']['thickness_mm']:.4f} mm thick"))
    found += [
        ("Volume", f"{report['volume_mm3']:,.1f} mm³"),
        ("Mass", f"{report['mass_g']:.{3 if 'solved' in report else 2}f} g"),
    ]
    for part in report.get("parts", ()):
        metal = labels.plain(part["metal"])
        found.append((part["part"].capitalize(), f"{part['mass_g']:.2f} g, {metal}"))
    if report.get("metal_cost") is not None:
        found.append(("Metal Cost", f"{report['metal_cost']:,.2f}"))
    if "reeds" in blank and "pitch_mm" in blank:
        least, most = (f"{blank[f'pitch_{k}_mm']:.3f}" for k in ("least", "most"))
        pitch = least if least == most else f"{least} to {most}"
        found.append(("Reeds", f"{blank['reeds']}, pitch {pitch} mm"))
    count = report.get("bodies", 1)
    whole = "Yes, one body" if count == 1 else f"Yes, {count} bodies"
    return [*found, ("Closed", whole if report["closed"] else "No")]


def _size_of(report: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the size in rows: by diameter if the piece is round, else by width and height."""
    if "over_all_mm" not in report:  # of a file saved before that was measured
        return []
    thick = f"{report['thickness_mm']:.2f} mm"
    if report["diameter_mm"] is not None:
        found = [("Diameter", f"{report['diameter_mm']:.2f} mm"), ("Thickness", thick)]
    else:
        title = "Over All" if " over all" in report["size"] else "Size"
        found = [(title, f"{report['width_mm']:.2f} × {report['height_mm']:.2f} × {thick}")]
    if report["beyond_edge"]:
        wide, high, _ = report["over_all_mm"]
        found.append((report["beyond_edge"].capitalize(), f"{wide:.2f} × {high:.2f} mm"))
    return found


def _draw_units(column: Any, context: bpy.types.Context) -> None:
    if units.is_millimetres(context.scene):
        return
    box = column.column()
    length = 1.0 / units.units_per_mm(context.scene)
    text = f"One unit of this scene is {length:g} mm"
    if length >= 100.0:
        text += ": a medal is tiny in it"
    layout.wrapped(box, context, text, icon="INFO")
    box.operator("medalwright.use_millimetres")


class _PiecePanel(_Panel):
    """A sub-panel that is there when the active object is a piece."""

    bl_parent_id = "MEDALWRIGHT_PT_main"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return live.is_piece(context.object)


class MEDALWRIGHT_PT_findings(_PiecePanel, bpy.types.Panel):
    """What a person should know about the piece."""

    bl_label = "Findings"
    bl_order = 90

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        """Count them."""
        count = len(_findings(context))
        if count:
            self.layout.label(text=f"{count}  ")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw each with its severity."""
        found = _findings(context)
        if not found:
            self.layout.label(text="Nothing to Note", icon="CHECKMARK")
        for finding in found:
            where = f"{labels.place(finding['where'])}: " if finding["where"] else ""
            icon = ICONS.get(finding["severity"], "INFO")
            layout.wrapped(self.layout, context, where + labels.told(finding["message"]), icon=icon)


def _findings(context: bpy.types.Context) -> list[dict[str, Any]]:
    text = context.object.data.medalwright.report
    return pieces.report_of(text)["findings"] if text else []


class MEDALWRIGHT_PT_files(_PiecePanel, bpy.types.Panel):
    """Files out and in."""

    bl_label = "Files"
    bl_order = 91

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the buttons."""
        column = self.layout.column()
        column.operator(MEDALWRIGHT_OT_export_files.bl_idname, icon="EXPORT")
        row = column.row(align=True)
        row.operator("medalwright.open_spec", text="Open Spec", icon="FILE_FOLDER")
        row.operator("medalwright.save_spec", text="Save Spec", icon="FILE_TICK")


def _table_panel(key: Key, path: str, parent: str, order: int) -> list[type]:
    """Make the panel of a table and of the tables inside it."""
    assert key.table is not None
    name = f"MEDALWRIGHT_PT_{path.replace('.', '_')}"
    draw = _draw_list(key, path) if key.kind == "tables" else _draw_table(key.table, path)
    title = labels.title_of_list(key) if key.kind == "tables" else labels.title(key)
    body: dict[str, Any] = {
        "__doc__": f"{title} of the piece.",
        "__module__": __name__,
        "bl_label": title,
        "bl_parent_id": parent,
        "bl_order": order,
        "draw": draw,
    }
    if path == "obverse":
        body["bl_options"] = set()
    if key.kind == "tables":
        body["draw_header_preset"] = _draw_count(path)
    elif key.default is None and not key.required:
        body["draw_header"] = _draw_switch(path)
    made: list[type] = [type(name, (_PiecePanel, bpy.types.Panel), body)]
    if key.kind == "table":
        for i, inner in enumerate(groups.keys(key.table)):
            if inner.kind == "tables" or (inner.kind == "table" and not key_rows.is_small(inner)):
                made += _table_panel(inner, f"{path}.{inner.name}", name, i)
    return made


def _group(context: bpy.types.Context, path: str) -> Any:
    return context.object.medalwright.spec.path_resolve(path)


def _draw_table(table: type[Table], path: str) -> Any:
    owner_path, _, name = path.rpartition(".")

    def draw(self: Any, context: bpy.types.Context) -> None:
        if owner_path:
            self.layout.active = getattr(_group(context, owner_path), f"{name}_on", True)
        key_rows.draw_table(self.layout, context, _group(context, path), table, path)

    return draw


def _draw_switch(path: str) -> Any:
    owner_path, _, name = path.rpartition(".")

    def draw_header(self: Any, context: bpy.types.Context) -> None:
        self.layout.prop(_group(context, owner_path), f"{name}_on", text="")

    return draw_header


def _draw_count(path: str) -> Any:
    def draw_header_preset(self: Any, context: bpy.types.Context) -> None:
        count = len(_group(context, path))
        if count:
            self.layout.label(text=f"{count}  ")

    return draw_header_preset


def _draw_list(key: Key, path: str) -> Any:
    owner_path, _, name = path.rpartition(".")

    def draw(self: Any, context: bpy.types.Context) -> None:
        assert key.table is not None
        owner = _group(context, owner_path)
        items = getattr(owner, name)
        row = self.layout.row()
        row.template_list(
            "MEDALWRIGHT_UL_elements", path, owner, name, owner, f"{name}_index",
            rows=4 if len(items) > 1 else 2,
        )  # fmt: skip
        buttons = row.column(align=True)
        key_rows.list_button(buttons, path, "ADD", "ADD")
        key_rows.list_button(buttons, path, "REMOVE", "REMOVE")
        if len(items) > 1:
            buttons.separator()
            key_rows.list_button(buttons, path, "UP", "TRIA_UP")
            key_rows.list_button(buttons, path, "DOWN", "TRIA_DOWN")
        if name == "relief":
            self.layout.operator("medalwright.use_selected").face = owner_path
        index = getattr(owner, f"{name}_index")
        if index < len(items):
            item_path = f"{path}[{index}]"
            key_rows.draw_table(self.layout, context, items[index], key.table, item_path)
            for empty in convert.missing(items[index], key.table):
                text = f"Left out until it has its {labels.title(empty).lower()}"
                layout.wrapped(self.layout, context, text, icon="INFO")

    return draw


_classes: list[type] = []


def register() -> None:
    """Register the panels, parents first."""
    _classes.append(MEDALWRIGHT_PT_main)
    for i, key in enumerate(groups.keys(MedalSpec)):
        if key.table is not None:
            _classes.extend(_table_panel(key, key.name, "MEDALWRIGHT_PT_main", i))
    _classes.extend((MEDALWRIGHT_PT_findings, MEDALWRIGHT_PT_files))
    for made in _classes:
        bpy.utils.register_class(made)


def unregister() -> None:
    """Take the panels back."""
    while _classes:
        bpy.utils.unregister_class(_classes.pop())
