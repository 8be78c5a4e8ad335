"""Style sheets in millimetres: one for each docket paper and each label of the policy."""

from __future__ import annotations

from portal.rules.policy_prints import Label
from portal.rules.print_sizes import EDGE_MM, Paper


def docket_sheet(paper: Paper) -> str:
    """The paper's size and margins; on the screen the docket is shown as wide as it will be."""
    return (
        f"@page {{ size: {paper.width_mm:g}mm {paper.height_mm:g}mm; margin: {paper.margin_mm:g}mm }}\n"
        f".paper {{ width: {paper.room_mm:g}mm }}\n"
    )


def label_sheet(label: Label) -> str:
    """The label's size, its print moved by the offsets that its printer needs."""
    width, height = f"{label.width_mm:g}mm", f"{label.height_mm:g}mm"
    return (
        f"@page {{ size: {width} {height}; margin: 0 }}\n"
        f".label {{ width: {width}; height: {height}; padding: {EDGE_MM:g}mm;"
        f" position: relative; left: {label.right_mm:g}mm; top: {label.down_mm:g}mm }}\n"
    )
