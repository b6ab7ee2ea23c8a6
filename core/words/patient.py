"""The patient's page in plain words: one table, to be replaced as a whole by a translation.

Reading age about 12. Fields in braces are filled in from the case; a translation keeps them.
"""

from __future__ import annotations

PATIENT: dict[str, str] = {
    "title": "Your planned implant",
    "draft": "Draft. Your dentist has not signed this plan yet.",
    "plan_heading": "What is planned",
    "plan_one": (
        "You have a gap in your {jaw} jaw, on your {side} side. The tooth is number {number}, "
        "the {name}."
    ),
    "plan_gap": "Your dentist has measured your jaw with a scan.",
    "side_open": (
        "Do not use this page. Left and right do not agree in this plan. Ask your dentist for a "
        "new page."
    ),
    "implant": (
        "An implant is a small artificial root. It is put into the bone of the jaw. "
        "A new tooth can be fixed on top of it later. The implant in this plan is {length} mm "
        "long and {width} mm wide."
    ),
    "no_implant": "No implant has been chosen yet. The bone at the gap was measured.",
    "more": "The plan holds {count} places in all. Ask your dentist about each of them.",
    "picture_heading": "A picture of your jaw, cut through",
    "picture": (
        "Light parts are bone or teeth. The double line is the implant. The striped ring, where "
        "there is one, is the path of the nerve in the lower jaw."
    ),
    "scan": (
        "The scan shows how much bone there is. It can also miss things. The numbers may be off "
        "by a little. Drilling is never exact."
    ),
    "risk_heading": "Risks",
    "risk_none": (
        "This page does not list the risks. Ask your dentist to go through them with you."
    ),
    "questions_heading": "Questions to ask",
    "question_1": "What else could we do? What if we do nothing?",
    "question_2": "How far is the implant from the nerve, the roots and the other parts?",
    "question_3": "Do I have enough bone? Do you plan to add some?",
    "question_4": "What can go wrong, and how often does it happen with your patients?",
    "question_5": "How long will it take to heal? What must I not do?",
    "question_6": "What will it cost? Who will look after it in ten years?",
    "question_7": "Has someone looked at the whole scan?",
    "tell": (
        "Tell your dentist about all your medicines and health problems. Tell them if a "
        "tooth was pulled or bone was added since the scan."
    ),
    "not_the_talk": "This page does not replace talking with your dentist.",
    "cheek": "cheek",
    "tongue": "tongue",
    "palate": "roof of the mouth",
    "jaw_upper": "upper",
    "jaw_lower": "lower",
    "side_left": "left",
    "side_right": "right",
    "tooth_1": "middle front tooth",
    "tooth_2": "side front tooth",
    "tooth_3": "eye tooth",
    "tooth_4": "first small back tooth",
    "tooth_5": "second small back tooth",
    "tooth_6": "first large back tooth",
    "tooth_7": "second large back tooth",
    "tooth_8": "wisdom tooth",
}
