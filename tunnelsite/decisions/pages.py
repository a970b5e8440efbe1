"""Pages on criteria, processes, settings, presets and sources, written from what describes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description
from tunnelsite.core.needs import CONDITIONS, FACTS, LAYERS, LIMITS, NAMED_CONDITIONS, unmet_words
from tunnelsite.core.plan_kind import PlanKind
from tunnelsite.core.process import Process
from tunnelsite.core.sources import Source, source_words
from tunnelsite.settings.field import Field, fields_of
from tunnelsite.settings.kinds import Choice, Flag

if TYPE_CHECKING:
    from tunnelsite.settings.presets import Preset

_LABEL_TITLES = {
    "published": "Published",
    "derived": "Derived here",
    "common practice": "Common practice, no source",
    "ours": "Set by this project",
}


def criteria_page(criteria: Sequence[Criterion]) -> str:
    """`docs/criteria.md`."""
    lines = ["# Criteria", "", "Written from the catalogue; change the descriptions, not this page.", ""]
    for item in criteria:
        about = item.description
        lines += [f"## {about.id}", "", f"**{about.title}** [{about.unit}]. {about.text}", ""]
        for kind, r in item.rubrics.items():
            limit = "no limit" if r.limit is None else f"limit {r.limit:g}"
            curve = f"full marks at {r.full_at:g}, none at {r.none_at:g}, {limit}, weight {r.weight:g}"
            lines.append(f"- {kind}: {curve}. Source: {source_words(r.source)}")
        lines += [*_parameters(about), ""]
    return "\n".join(lines)


def processes_page(processes: Sequence[Process]) -> str:
    """`docs/processes.md`."""
    lines = ["# Processes", "", "Written from the catalogue; change the descriptions, not this page.", ""]
    for item in processes:
        about = item.description
        lines += [f"## {about.id}", "", f"**{about.title}**. {about.text} Source: {source_words(about.source)}.", ""]
        lines += [f"- reads {s.id} [{s.unit}]: {s.title}" for s in about.reads]
        lines += [f"- makes {s.id} [{s.unit}]: {s.title}" for s in about.makes]
        if item.by_tiles is not None:
            lines.append("- `tunnelsite run` works part by part on a raster too large for memory")
        lines += [*_parameters(about), ""]
    return "\n".join(lines)


def plans_page(kinds: Sequence[PlanKind]) -> str:
    """`docs/plans.md`."""
    lines = [
        "# Plans",
        "",
        "Written from the catalogue; change the descriptions, not this page. A plan is made of any place, a candidate or not: by its",
        "command, from Python (`plan = sun_chart(site, place)`, then `plan.summary`, `.layers`, `.tables`, `.pictures`, `.notes`,",
        "`.cautions` and `plan.write(folder)`), and as a process of the server. Its own settings are in [settings.md](settings.md).",
        "",
    ]
    for kind in kinds:
        lines += [f"## {kind.id}", "", f"**{kind.title}**. {kind.text} Source: {source_words(kind.source)}.", ""]
        for one in kind.gives:
            lines.append(f"- {one.kind} `{one.id}`: {one.title}{' (not always)' if one.optional else ''}")
        lines += [f"- counts, where given: {', '.join(kind.reads)}"] if kind.reads else []
        lines += [f"- heeds of the screening's settings: {', '.join(kind.follows)}"] if kind.follows else []
        lines.append("")
    return "\n".join(lines)


def settings_page(classes: Mapping[str, type]) -> str:
    """`docs/settings.md`. Arguments: classes, settings classes by the heading of their part."""
    lines = [
        "# Settings",
        "",
        "Written from the settings' own descriptions; change these, not this page. A setting has one name: `ridge` in a project",
        "file and in JSON, `--ridge` on the command line, `ridge_m` in Python (with its unit, as a number in SI units). Lengths take",
        "m, cm, ft or in, as `20ft`; without a unit they are metres. Angles are degrees clockwise from true north or compass words.",
        "",
    ]
    for heading, settings in classes.items():
        lines += [f"## {heading}", ""]
        fields = fields_of(settings)
        for section in dict.fromkeys(field.words.section for field in fields):
            lines += [f"### {section}", ""] if section else []
            lines += [_setting(field) for field in fields if field.words.section == section]
            lines.append("")
    return "\n".join(lines)


def _setting(field: Field) -> str:
    default = f" Default: {field.default_words}." if field.default_words else ""
    form = "yes or no" if isinstance(field.words, Flag) else field.words.metavar
    if isinstance(field.words, Choice):
        form = ", ".join(field.words.choices)
    return f"- `{field.key}` ({form}) **{field.words.title}**. {field.words.help}{default}"


def presets_page(presets: Mapping[str, Preset]) -> str:
    """`docs/presets.md`."""
    lines = [
        "# Presets",
        "",
        'Written from `tunnelsite/settings/presets.toml`; change that, not this page. `preset = ["winter-north"]` in a project file, or',
        "`--preset winter-north,snow-country`, takes these settings; explicit options override the preset. In-ground and container",
        "houses differ by `kind`: the rubrics of both are in `criteria.md`. A preset leaves the ridge as you ask for it: sources",
        "disagree, and `tunnelsite sunchart --json` gives the light that both bearings pass at your place, by season.",
        "",
    ]
    for preset in presets.values():
        lines += [f"## {preset.name}", "", f"**{preset.title}**. Source: {source_words(preset.source)}.", ""]
        for name, value in preset.settings.items():
            if name == "rubric":
                lines += [f"- rubric of {one}: " + _pairs(_with_sources(parts)) for one, parts in value.items()]
            else:
                lines.append(f"- {name}: " + (_pairs(value) if isinstance(value, Mapping) else str(value)))
        lines.append("")
    return "\n".join(lines)


def sources_page(known: Mapping[str, Source]) -> str:
    """`docs/sources.md`: every source once, with what rests on it and how it was checked."""
    lines = [
        "# Sources",
        "",
        "Written from `tunnelsite/core/sources.toml`; change that, not this page. Each key stands for one statement; rubrics and presets",
        "name keys, and comments, tests and pages cite them as `[@key]`. Where nothing published was found, the entry says so.",
    ]
    for label, title in _LABEL_TITLES.items():
        lines += ["", f"## {title}", ""]
        for source in known.values():
            if source.label == label:
                lines.append(f"- **{source.key}**: {source.words}. Backs: {source.backs}. Checked: {source.checked}.")
    return "\n".join([*lines, ""])


def _with_sources(parts: Mapping[str, object]) -> dict[str, object]:
    return {name: source_words(str(value)) if name == "source" else value for name, value in parts.items()}


def _pairs(values: Mapping[str, object]) -> str:
    return ", ".join(f"{name} = {value}" for name, value in values.items())


def _parameters(about: Description) -> list[str]:
    return [
        f"- parameter {p.id} = {p.default} {p.unit}: {p.title}{' (supplied by the run)' if p.id in FACTS else ''}"
        for p in about.parameters
    ]


def needs_page() -> str:
    """`docs/plugins.md`: what a criterion or process may declare that it needs."""
    lines = [
        "# What plug-ins may declare",
        "",
        "Written from `tunnelsite/core/needs.py`; change that, not this page. A criterion or process declares",
        "what it needs of the site and a run gives it, built in or not; a plan is handed the site itself. `docs/examples/plugin` is a",
        "whole package. A name that is not listed here, or a parameter that has such a name with another unit, makes the plug-in a",
        "broken one: it is reported and skipped, and the run goes on.",
        "",
        "## Facts",
        "",
        "A parameter with one of these names and its unit (`tunnelsite.core.needs.supplied(name)`). What the user sets in",
        "`[parameter.ID]` wins. A fact that is not known leaves the criterion or process out, with words: no default stands in for it.",
        "",
        *(f"- `{p.id}`{f' [{p.unit}]' if p.unit else ''}: {p.title}" for p in FACTS.values()),
        "",
        "## Layers",
        "",
        "Layers that no process makes, by their name among the layers that are read (`tunnelsite.core.needs.LAYERS[name]`).",
        "Optional ones are not always there.",
        "",
        *(f"- `{s.id}` [{s.unit}]: {s.title}{' (optional)' if s.optional else ''}" for s in LAYERS.values()),
        "",
        "Every layer of the run can be read in the same way: `ground`, `surface`, `standing_m`, what the processes make (`processes.md`),",
        "and the user's own (`--layer NAME=FILE`), which are read by their name like any other. Features of the user's own are no layers:",
        "a criterion asks `site.distance(site.features(NAME))`, which is 0 where the footprint meets one.",
        "",
        "## Conditions",
        "",
        "Names in the `needs` of a criterion. Where one is not met the criterion is left out of the run, with this reason:",
        "",
        *(f"- `{name}`: {words}" for name, words in CONDITIONS.items()),
        *(f"- `{kind}:NAME`: {unmet_words(f'{kind}:NAME')}" for kind in NAMED_CONDITIONS),
        "",
        "## Limits",
        "",
        "Settings that move the limit of a criterion, by its `limit_by`:",
        "",
        *(f"- `{name}`: {words}" for name, words in LIMITS.items()),
    ]
    return "\n".join([*lines, ""])
