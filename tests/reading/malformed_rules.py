# ruff: noqa: E501 (a case stands on one line)
"""The shipped rulebook, each time wrong in one place.

name -> (file, what stands there, what stands there instead, words of the message). § in the
new text marks the line that the message must point at.
"""

from __future__ import annotations

Case = tuple[str, str, str, tuple[str, ...]]

_MOTION, _POSTURE = "classify/motion.yaml", "classify/posture-and-arch.yaml"
_HEALTH, _STRUCTURE = "screen/health.yaml", "need/structure.yaml"
_LITTLE = "when: {measure: peak-angle, is: clearly-below, limit: peak-lower}"
_WOUND = "when: {answer: open-wound, is: yes}"

RULES: dict[str, Case] = {
    # --- rulebook.yaml --------------------------------------------------------------------
    "heading-system-unknown": ("rulebook.yaml", "fpi-system: manual-2005", "fpi-system: §manual-2006", ("`manual-2005`?",)),
    "heading-version": ("rulebook.yaml", "version: 2.0.0", "version: §1.0", ("`1.0`", "1.0.0")),
    "heading-no-cautions": (
        "rulebook.yaml", "cautions:\n", "cautions: []\n§more:\n", ("`more`", "not a known key"),
    ),
    "heading-name-missing": ("rulebook.yaml", "name: Valley rulebook", "", ("`name` is missing",)),
    "heading-key": ("rulebook.yaml", "fpi-system", "§fpi-sytem", ("`fpi-system`?",)),
    # --- sources.yaml -----------------------------------------------------------------------
    "source-seen-unknown": ("sources.yaml", "seen: in-source", "seen: §in-sauce", ("`in-source`?",)),
    "source-without-cite": ("sources.yaml", "    cite:", "§    site:", ("`site`", "`cite`?")),
    "source-empty": ("sources.yaml", "sources:\n", "sources:\n§  void:\n", ("empty", "cite")),
    "source-id": ("sources.yaml", "sources:\n", "sources:\n§  A B: {}\n", ("`A B`", "hyphens")),
    # --- measures.yaml ----------------------------------------------------------------------
    "measure-gone": ("measures.yaml", "\n  fpi:\n", "\n  fpi-total:\n", ("`fpi`", "computed from every visit", "add `fpi`")),
    "measure-unit-changed": (
        "measures.yaml", "  foot-length:\n    title: foot length\n    plain: length of the foot\n    unit: mm",
        "  foot-length:\n    title: foot length\n    plain: length of the foot\n    unit: cm", ("foot-length", "mm", "cm"),
    ),
    "measure-without-unit": ("measures.yaml", "    unit: score\n", "", ("`unit` is missing",)),
    "measure-sd-zero": ("measures.yaml", "sd: 3.2", "sd: §0", ("`0`", "above 0")),
    "measure-error-negative": ("measures.yaml", "single: 0.85", "single: §-1", ("`-1`", "at least 0")),
    "measure-error-nan": ("measures.yaml", "single: 0.85", "single: §.nan", ("finite",)),
    "measure-decimals": ("measures.yaml", "decimals: 0", "decimals: §9", ("`9`", "from 0 to 4")),
    "measure-kind": ("measures.yaml", "kind: from-memory", "kind: §memory", ("from-memory",)),
    "measure-classes-lost": (
        "measures.yaml", "values: [central, lateral, medial-early, medial-late]",
        "values: [central, lateral]", ("cop-pattern", "medial-early"),
    ),
    "measure-qualifier-lost": (
        "measures.yaml", "    qualifiers: {reference: [vertical, relaxed-standing, subtalar-neutral]}\n",
        "", ("standing-angle", "reference"),
    ),
    # --- limits.yaml ------------------------------------------------------------------------
    "limit-text": ("limits.yaml", "value: 10,", "value: §ten,", ("the text `ten`", "a number")),
    "limit-quoted": ("limits.yaml", "value: 10,", "value: §'10',", ("without quotes",)),
    "limit-infinite": ("limits.yaml", "value: 10,", "value: §.inf,", ("finite",)),
    "limit-decimals": ("limits.yaml", "value: 0.295", "value: §0.29512345", ("4 decimals", "round")),
    "limit-source-unknown": ("limits.yaml", "redmond-2005", "§redmond-2055", ("`redmond-2005`?",)),
    "limit-published-without-source": (
        "limits.yaml", "kind: published, source: redmond-2005", "§kind: published", ("names its `source`",),
    ),
    "limit-no-values": (
        "limits.yaml", "values: [{value: 4, kind: published, source: rokkedal-2013}]",
        "values: §[]", ("no entries", "at least 1"),
    ),
    "limit-of-one-system": (
        "limits.yaml", '      - {value: 10, where: {age: grown}, system: manual-2005, kind: from-memory, source: redmond-2005, range: [9, 11]}\n      - {value: 11, where: {age: grown}, system: adult-norm-2008, kind: from-memory, source: redmond-2008}\n      - {value: 10, where: {age: child}, kind: derived, source: gijon-2019, note: "mean 4 plus 2 SD of 3; 3.9 % of 3,217 children were at or above it"}\n',
        '      - {value: 11, where: {age: grown}, system: adult-norm-2008, kind: from-memory, source: redmond-2008}\n', ("fpi-highly-pronated", "manual-2005"),
    ),
    "limit-system-unknown": ("limits.yaml", "system: manual-2005", "system: §manual", ("`manual-2005`?",)),
    "limit-id": ("limits.yaml", "  fpi-pronated:\n", "§  FPI pronated:\n", ("`FPI pronated`", "hyphens")),
    "limit-renamed": ("limits.yaml", "  fpi-pronated:\n", "  fpi-pronate:\n", ("`fpi-pronate`?",)),
    "limit-qualifier-unknown": (
        "limits.yaml", "where: {gait: walking, reference: vertical}",
        "where: {gate: walking, reference: vertical}", ("`gate`", "`gait`?"),
    ),
    "limit-qualifier-word": (
        "limits.yaml", "where: {gait: walking, reference: vertical}",
        "where: {gait: walk, reference: vertical}", ("`walk`", "`walking`?"),
    ),
    "limit-unit": ("limits.yaml", "unit: deg", "unit: mm", ("in mm", "in deg")),
    "limits-a-list": ("limits.yaml", "limits:\n", "limits: []\n§limit:\n", ("`limit`", "`limits`?")),
    # --- axes.yaml --------------------------------------------------------------------------
    "axis-one-value": (
        "axes.yaml", "  arch:\n", "  lone:\n    title: x\n    values: §{a: b}\n  arch:\n", ("has 1 entry", "at least 2"),
    ),
    "axis-value-id": ("axes.yaml", "      low: low arch", "§      Low: low arch", ("`Low`", "hyphens")),
    "axis-renamed": ("axes.yaml", "  amount:\n", "  amounts:\n", ("`amount`", "`amounts`?")),
    "axis-value-text": ("axes.yaml", "low: low arch", "low: §5", ("`5`", "text")),
    "axis-taken": (
        "axes.yaml", "axes:\n", "axes:\n§  foot-type: {title: x, values: {a: b, c: d}}\n", ("`foot-type`",),
    ),
    # --- questions.yaml ---------------------------------------------------------------------
    "question-gone": ("questions.yaml", "  open-wound:\n", "  open-wounds:\n", ("`open-wounds`?",)),
    "question-without-why": ("questions.yaml", "    why:", "§    wy:", ("`wy`", "`why`?")),
    "question-list": ("questions.yaml", "questions:\n", "questions: []\n§q:\n", ("`q`",)),
    # --- attributes.yaml --------------------------------------------------------------------
    "attribute-gentler": ("attributes.yaml", "gentler: low", "gentler: §lower", ("`low`?",)),
    "attribute-tolerance": ("attributes.yaml", "tolerance: 4", "tolerance: §0", ("above 0",)),
    "attribute-no-range": ("attributes.yaml", "    low: -8\n", "", ("`low` and `high`", "wedge")),
    "attribute-range-turned": ("attributes.yaml", "low: -8", "low: 18", ("`low` (18) must be below `high` (10)",)),
    "attribute-both": ("attributes.yaml", "low: -8", "low: -8\n    scale: {a: b, c: d}", ("scale",)),
    "attribute-renamed": ("attributes.yaml", "  heel-cup:\n", "  heel-cups:\n", ("insole.heel-cups`?",)),
    "attribute-sum-unknown": (
        "attributes.yaml", "sum-of: [", "sum-of: §[insole.wegde, ", ("`insole.wegde`", "`insole.wedge`?"),
    ),
    # --- types.yaml -------------------------------------------------------------------------
    "type-axis": ("types.yaml", "axis: posture, is: neutral", "§axis: postur, is: neutral", ("`posture`?",)),
    "type-value": ("types.yaml", "axis: posture, is: neutral", "§axis: posture, is: neutrl", ("`neutral`?",)),
    "type-twice": ("types.yaml", "id: low-arched-steady", "§id: neutral-steady", ("twice",)),
    "type-sentence": ("types.yaml", "    sentence: >-", "§    sentense: >-", ("`sentence`?",)),
    "type-all-a-mapping": (
        "types.yaml", "        - {axis: posture, is: neutral}\n        - {axis: arch, is: ordinary}\n        - {axis: amount, is: usual}\n        - {axis: timing, is: [typical, early]}\n",
        "§        {axis: posture, is: neutral}\n", ("a group of keys", "a list"),
    ),
    # --- conditions -------------------------------------------------------------------------
    "condition-key-unknown": (_MOTION, _LITTLE, "§when: {mesure: peak-angle, is: above}", ("condition", "measure")),
    "condition-empty": (_MOTION, _LITTLE, "§when: {}", ("an empty group", "a condition")),
    "condition-word": (_MOTION, _LITTLE, "§when: always", ("the text `always`", "a condition")),
    "condition-list": (_MOTION, _LITTLE, "§when: [{axis: arch, is: low}]", ("a list", "a condition")),
    "condition-two-kinds": (
        _MOTION, _LITTLE, "§when: {measure: peak-angle, axis: arch, is: above}", ("`axis`", "measure"),
    ),
    "condition-all-empty": (_MOTION, _LITTLE, "§when: {all: []}", ("no entries", "at least 1")),
    "condition-is-missing": (_MOTION, _LITTLE, "§when: {measure: peak-angle}", ("`is` is missing",)),
    "condition-is-number": (_MOTION, _LITTLE, "§when: {measure: peak-angle, is: 5}", ("`5`", "a list")),
    "condition-is-empty": (_MOTION, _LITTLE, "§when: {axis: arch, is: []}", ("no entries",)),
    "condition-is-and-is-not": (
        _MOTION, _LITTLE, "§when: {axis: arch, is: low, is-not: high}", ("exactly one",),
    ),
    "condition-without-limit": (
        _MOTION, _LITTLE, "§when: {measure: peak-angle, is: above}", ("`limit`", "above"),
    ),
    "condition-needless-limit": (
        _MOTION, _LITTLE, "§when: {measure: cop-pattern, is: central, limit: cpei-low}", ("`limit` goes with",),
    ),
    "condition-limit-a-number": (
        _MOTION, _LITTLE, "§when: {measure: peak-angle, is: above, limit: 4}", ("`4`", "text"),
    ),
    "condition-limit-unknown": (
        _MOTION, _LITTLE, "§when: {measure: peak-angle, is: above, limit: peak-uper}", ("`peak-upper`?",),
    ),
    "condition-order-misspelt": (
        _MOTION, _LITTLE, "§when: {measure: peak-angle, is: clearly-abov}", ("is a number", "clearly-above"),
    ),
    "condition-class-with-limit": (
        _MOTION, _LITTLE, "§when: {measure: cop-pattern, is: above, limit: cpei-low}", ("cop-pattern", "medial-late"),
    ),
    "condition-measure-unknown": (
        _MOTION, _LITTLE, "§when: {measure: peak-angel, is: above, limit: peak-upper}", ("`peak-angle`?",),
    ),
    "condition-class-word": (_MOTION, "is: medial-late}", "is: §medial-lat}", ("`medial-late`?",)),
    "condition-deep-key": (
        _MOTION, "            - {measure: peak-angle, is: not-measured}", "§            - {measure: peak-angle, iss: not-measured}", ("`iss`", "`is`?"),
    ),
    "condition-deep": (
        _MOTION, _LITTLE, "§when: " + "{all: [" * 25 + "{axis: arch, is: low}" + "]}" * 25, ("nested too deeply",),
    ),
    "condition-circle": (
        _MOTION, _LITTLE, "when: {axis: amount, is: much}", ("circle: amount-",),
    ),
    "condition-huge": (
        _MOTION, _LITTLE,
        "when: {all: [" + ", ".join(
            f"{{any: [{{axis: {a}, is: {v}}}, {{measure: {m}, is: above, limit: {x}}}]}}"
            for a, v in (("arch", "low"), ("posture", "neutral"), ("width", "wide"))
            for m, x in (
                ("cpei", "cpei-low"), ("cpei", "cpei-high"), ("fpi", "fpi-pronated"),
                ("arch-height-ratio", "arch-ratio-low"), ("arch-rigidity", "arch-rigidity-stiff"),
                ("foot-length", "nothing"),
            )
        ) + "]}",
        ("no limit is called `nothing`",),
    ),
    "answer-unknown": (_HEALTH, _WOUND, "§when: {answer: open-wond, is: yes}", ("`open-wound`?",)),
    "answer-not-asked": (_HEALTH, _WOUND, "§when: {answer: open-wound, is: not-asked}", ("yes, no",)),
    "pain-unknown": (_HEALTH, _WOUND, "§when: {pain: hel, is: yes}", ("painful site", "`heel`?")),
    "visit-unknown": (_HEALTH, _WOUND, "§when: {visit: age, is: child}", ("age-band, purpose",)),
    "visit-value-unknown": (_HEALTH, _WOUND, "§when: {visit: age-band, is: chld}", ("`child`?",)),
    # --- conclusions ------------------------------------------------------------------------
    "then-of-another-stage": (
        _HEALTH, "then: {note: stop, say:", "then: {axis: arch, value: low}\n§    x: {say:", ("`x`",),
    ),
    "then-axis-in-screen": (
        _HEALTH, _WOUND + "\n    then: {note: stop, say: \"An open wound or ulcer: no fitting today; a doctor or foot clinic should see it within a day, the same day if there is diabetes or less feeling.\"}",
        _WOUND + "\n§    then: {axis: arch, value: low}", ("folder `screen`", "`note` and `say`"),
    ),
    "then-empty": (_MOTION, "then: {axis: amount, value: little}", "§then: {}", ("a conclusion",)),
    "then-word": (_MOTION, "then: {axis: amount, value: little}", "§then: little", ("the text `little`", "a conclusion")),
    "then-key-misspelt": (
        _MOTION, "then: {axis: amount, value: little}", "§then: {axis: amount, vlaue: little}", ("`vlaue`", "`value`?"),
    ),
    "then-value-missing": (_MOTION, "then: {axis: amount, value: little}", "§then: {axis: amount}", ("`value` is missing",)),
    "then-value-unknown": (
        _MOTION, "then: {axis: amount, value: little}", "§then: {axis: amount, value: littl}", ("`little`?",),
    ),
    "then-axis-unknown": (
        _MOTION, "then: {axis: amount, value: little}", "§then: {axis: amuont, value: little}", ("`amount`?",),
    ),
    "then-note-level": (_HEALTH, "{note: stop", "§{note: halt", ("`halt`", "stop, see-clinician, caution")),
    "note-says-nothing": (_HEALTH, "say: \"An open wound or ulcer: no fitting today; a doctor or foot clinic should see it within a day, the same day if there is diabetes or less feeling.\"", "say: §''", ("say", "words, for somebody reads them")),
    "question-of-blanks": ("questions.yaml", "    ask: ", "    ask: §' '\n    why: x\n  second:\n    ask: ", ("ask", "words, for somebody reads them")),
    "need-attribute-unknown": (_STRUCTURE, "insole.heel-cup", "§insole.heelcup", ("`insole.heel-cup`?",)),
    "need-level-unknown": (_STRUCTURE, "level: soft", "§level: softer", ("`soft`?",)),
    "need-level-of-number": (
        _STRUCTURE, "limit: heel-cup-deep", "§level: deep", ("is a number", "`limit`"),
    ),
    "need-limit-of-scale": (_STRUCTURE, "level: soft", "§limit: heel-cup-deep", ("scale of words", "firm, medium, soft")),
    "need-both": (_STRUCTURE, "level: soft", "§level: soft, limit: heel-cup-deep", ("not both",)),
    "need-strength": (_STRUCTURE, "strength: prefer", "§strength: wish", ("must, prefer, never",)),
    "need-weight": (_STRUCTURE, "weight: strong", "§weight: heavy", ("strong, usual, slight",)),
    "need-comparison": (_STRUCTURE, "is: at-least", "§is: at-lest", ("`at-least`?",)),
    "need-none": (
        "need/purpose-and-person.yaml", "then: {needs: [{attribute: shoe.for-walking, is: at-least, level: yes, strength: must}]}",
        "§then: {needs: []}", ("no entries",),
    ),
    # --- rules ------------------------------------------------------------------------------
    "rule-id-twice": (_MOTION, "id: amount-usual", "§id: amount-much", ("twice", "first at")),
    "rule-id-bad": (_MOTION, "id: amount-much", "§id: Amount_much", ("`Amount_much`", "hyphens")),
    "rule-key-misspelt": (_MOTION, "    because:", "§    becuase:", ("`becuase`", "`because`?")),
    "rule-when-missing": (_MOTION, "    " + _LITTLE + "\n", "", ("`when` is missing", "rules#3")),
    "rule-basis-source": (_MOTION, "chuter-2010]", "§chuter-2001]", ("`chuter-2010`?",)),
    "rule-basis-published-bare": (
        _POSTURE, "{kind: published, sources: [redmond-2005, redmond-2006]}", "§{kind: published}", ("names its `sources`",),
    ),
    "rule-basis-kind": (_MOTION, "{kind: common-practice, sources", "§{kind: custom, sources", ("common-practice",)),
    "rules-none": (_MOTION, "rules:\n", "rules: []\nmore:\n", ("`more`",)),
    "rules-title-missing": (_MOTION, "title: Motion in stance, path of load\n", "", ("`title` is missing",)),
    "file-empty-of-yaml": (_MOTION, "title: Motion", "§title: @Motion", ("cannot begin with @",)),
    "file-tab": (_MOTION, "    title: Rolls in further", "§\ttitle: Rolls in further", ("a tab",)),
    "file-anchor": (_MOTION, "then: {axis", "§then: &a {axis", ("an anchor",)),
    "file-duplicate-key": (_MOTION, "    title: Rolls in further", "    id: x\n    title: Rolls in further", ("`id` stands twice",)),
    # --- parameters -------------------------------------------------------------------------
    "parameter-text": ("parameters/noise.yaml", "value: 1.0", "value: §one", ("the text `one`", "a number")),
    "parameter-nan": ("parameters/noise.yaml", "value: 1.0", "value: §.nan", ("finite",)),
    "parameter-kind": ("parameters/noise.yaml", "kind: common-practice", "kind: §custom", ("common-practice",)),
    "parameter-renamed": ("parameters/noise.yaml", "  clearly:", "  §clear:", ("`clear` is not a known key", "Did you mean `clearly`?")),
    "parameter-beyond-its-range": (
        "parameters/rank.yaml", "shown in the shortlist\n    value: 5", "shown in the shortlist\n    value: 30",
        ("30 lies outside", "3 to 8"),
    ),
    "parameter-missing": ("parameters/sure.yaml", "  far:\n    title", "  §x-far:\n    title", ("`x-far` is not a known key", "draws, far")),
    "parameter-beyond-its-bounds": ("parameters/sure.yaml", "value: 6", "value: §-6", ("`far` is `-6`", "a number")),
    "parameter-no-whole-number": ("parameters/sure.yaml", "value: 1000", "value: §1000.5", ("`draws` is `1000.5`", "whole number")),
    "parameter-none": ("parameters/noise.yaml", "values:\n", "values: {}\nmore:\n", ("`more`",)),
    "parameter-unit-missing": ("parameters/noise.yaml", "    unit: standard errors\n", "", ("`unit` is missing",)),
}  # fmt: skip
