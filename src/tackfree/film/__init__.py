"""Coverage, wet and dry film, texture, loss, aggregate, sealant, details.

The arithmetic of a liquid on a floor. Nothing here knows a job, a section or a product
sheet: areas, films and rates come in as numbers and go out as numbers.
"""

from tackfree.film.aggregate import (
    bags_needed,
    cover_fraction,
    monolayer_kg_per_m2,
    retained_kg,
    thrown_kg,
    void_fraction,
)
from tackfree.film.checks import CoverageError, FilmError
from tackfree.film.coverage import (
    coverage_m2_per_l,
    dry_film_thickness_um,
    wet_film_for_dry_um,
    wet_film_thickness_um,
)
from tackfree.film.details import chalk_length_m, strip_area_m2, total_width_m, upturn_area_m2
from tackfree.film.sealant import (
    Shape,
    depth_for_width_m,
    joint_section_m2,
    length_per_litre_m,
    sealant_l,
)
from tackfree.film.texture import (
    Fill,
    fill_over_sand_um,
    profile_fill_um,
    sand_patch_depth_um,
    texture_left_um,
)
from tackfree.film.volume import (
    film_over_peaks_um,
    gross_l,
    kits_needed,
    laid_share,
    leftover_l,
    net_l,
    reach_m2,
)

__all__ = [
    "CoverageError",
    "Fill",
    "FilmError",
    "Shape",
    "bags_needed",
    "chalk_length_m",
    "cover_fraction",
    "coverage_m2_per_l",
    "depth_for_width_m",
    "dry_film_thickness_um",
    "fill_over_sand_um",
    "film_over_peaks_um",
    "gross_l",
    "joint_section_m2",
    "kits_needed",
    "laid_share",
    "leftover_l",
    "length_per_litre_m",
    "monolayer_kg_per_m2",
    "net_l",
    "profile_fill_um",
    "reach_m2",
    "retained_kg",
    "sand_patch_depth_um",
    "sealant_l",
    "strip_area_m2",
    "texture_left_um",
    "thrown_kg",
    "total_width_m",
    "upturn_area_m2",
    "void_fraction",
    "wet_film_for_dry_um",
    "wet_film_thickness_um",
]
