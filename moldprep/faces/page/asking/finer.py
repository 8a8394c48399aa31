"""What stands behind "More" in each section: the rest of the job's keys, which few makers change."""

from __future__ import annotations

from .questions import Ask

FILE = (
    Ask(
        ("form", "size_mm"),
        "Largest dimension",
        "For files in a unit of their own: the form is scaled to this.",
        empty="by the file's unit",
    ),
)
CLAY = (
    Ask(("shrinkage", "mark_error_mm"), "Error of one reading", "A ruler's half division."),
    Ask(
        ("shrinkage", "plaster_expansion_percent"),
        "The plaster grows by",
        "Linear, as it sets; 0.19 to 0.22 % was tabulated for consistencies of 65 to 74.",
    ),
    Ask(
        ("shrinkage", "print_shrink_percent"),
        "Prints come out smaller by",
        "0 for a calibrated printer.",
    ),
)
OPENING = (
    Ask(("stand", "floor_mm"), "Plaster beneath the foot", "", empty="as the wall"),
    Ask(("stand", "spare_flare_deg"), "Flare of the spare", "Its outward draft."),
)
SEAMS = (
    Ask(
        ("pull", "tolerance_mm"),
        "Counts as locked from",
        "Reach behind the form; plaster gives way below.",
    ),
    Ask(
        ("pull", "least_draft_deg"),
        "Least draft outside",
        "Walls from which the cast shrinks away; 2 to 3° is common practice.",
    ),
    Ask(
        ("pull", "least_draft_inside_deg"),
        "Least draft inside",
        "Faces that the cast shrinks onto, such as the eye of a handle; 5 to 8° is common practice.",
    ),
    Ask(("parting", "most_split_layers"), "Split layers at most", "Stacked on each other.", unit="layers"),
    Ask(
        ("parting", "piece_price"),
        "Price of a piece",
        "In mm of level seam on a smooth wall.",
        unit="mm of seam",
    ),
    Ask(("parting", "horizontal_price"), "Price of level seam", "", unit="a mm"),
    Ask(
        ("parting", "vertical_price"),
        "Price of upright seam",
        "It runs down the front of the piece.",
        unit="a mm",
    ),
    Ask(
        ("parting", "crease_price"),
        "Price of seam on a crease",
        "There it does not show.",
        unit="a mm",
    ),
    Ask(("parting", "crease_angle_deg"), "Counts as a crease from", "Angle between two faces."),
    Ask(("parting", "grid"), "Lines of the search", "Across the form and along its height.", unit="lines"),
    Ask(("parting", "azimuths"), "Directions around", "Tried over a half turn.", unit="directions"),
    Ask(
        ("pull", "search"),
        "Search for tilted pulls",
        "In 300 directions; without it, only straight up and those below.",
    ),
    Ask(
        ("pull", "axes"),
        "Further pulls to try",
        "Directions as x, y, z, with the opening up.",
        columns={"0": "x", "1": "y", "2": "z"},
        row="pull",
    ),
    Ask(
        ("ease", "most_taper_deg"),
        "Offer tapers up to",
        "Where the form locks or drags, a changed form is offered.",
    ),
    Ask(("ease", "most_fill_mm"), "Offer to fill undercuts up to", "Their depth."),
)
PLASTER = (
    Ask(
        ("plaster", "purity"),
        "Purity",
        "Share of hemihydrate, by mass; 1 for all of it.",
    ),
)
CAST = (
    Ask(("cast", "solids_g_ml"), "Density of dry clay", "Of its grains."),
    Ask(("cast", "water_percent"), "Water in the cast", "When it is demolded, of its wet weight."),
    Ask(
        ("cast", "loss_on_ignition_percent"),
        "Lost in the kiln",
        "Of the dry weight; 5 to 12 % is common practice.",
    ),
    Ask(("drain", "most_left_ml"), "Slip that may stay", "In the emptied cast."),
    Ask(("drain", "most_tilt_deg"), "Furthest tilt", "From the opening straight down."),
)
MOLDS = (
    Ask(
        ("studio", "mold_life_casts"),
        "Life of a mold",
        "Until detail and seams are worn; 60 to 120 is common practice.",
        unit="casts",
    ),
)
BOARDS = (
    Ask(("boards", "thickness_mm"), "Thickness of boards", "Stiff enough for a hand's width of plaster."),
    Ask(("boards", "lip_mm"), "Lip of boards", "Beyond the cottle, to stand and clamp it on."),
    Ask(("boards", "fit_mm"), "Gap round the master", "In the hole that it stands in."),
    Ask(("pieces", "natch_diameter_mm"), "Diameter of natches", "", empty="a third of the wall"),
    Ask(("pieces", "natch_clearance_mm"), "Gap round inserts", "All round; plaster on plaster needs none."),
    Ask(("pieces", "natch_taper_deg"), "Taper of natches", "Draft of a knob's side."),
    Ask(("pieces", "chamfer_mm"), "Chamfer", "Off the outer edges, while the plaster is damp."),
    Ask(
        ("pieces", "drip_bevel_deg"),
        "Drip bevel",
        "A flat beside the opening, to rest the emptied mold tilted by so much; 0 for none.",
    ),
)
PRINT = (
    Ask(("printer", "filament_g_ml"), "Density of filament", "PLA's when left alone."),
    Ask(("printer", "filament_diameter_mm"), "Diameter of filament", ""),
    Ask(("printer", "overhang_deg"), "Overhang without support", "From the upright."),
    Ask(("printer", "softens_c"), "The print softens at", "PLA at 45 to 65 °C: slurry warms it."),
    Ask(("printer", "most_sections"), "Sections at most", "", unit="sections"),
    Ask(("printer", "least_section_mm"), "Lowest section", "Lower ones are not worth a cut."),
    Ask(
        ("printer", "cut_price_g"),
        "A cut must save",
        "Filament; else gluing a joint is not worth it.",
    ),
    Ask(("printer", "pin_mm"), "Pins", "In the glue faces: pieces of rod or filament."),
)
COSTS = (
    Ask(("estimate", "print_hours"), "At the printer", "Slicing and taking off; its own hours are not paid."),
    Ask(("estimate", "finish_hours"), "Finishing the master", "Glue, sand and seal."),
    Ask(("estimate", "pour_hours"), "Each pour", "Cottle, soap, mix, pour, clean up."),
    Ask(("estimate", "trim_hours"), "Each mold", "Edges, banding, turning while it dries."),
    Ask(("estimate", "cast_hours"), "Each cast", "Fill, drain, demold."),
    Ask(("estimate", "fettle_hours"), "Fettling a cast", "Trim, sponge, handle it through drying."),
    Ask(("estimate", "fire_hours"), "Firing a cast", "Glaze, load and unload."),
    Ask(("estimate", "reject_percent"), "Rejects", "Fired, yet not sold."),
    Ask(("estimate", "quantities"), "Prices for", "Good pieces, a space between the figures.", unit="pieces"),
)
