"""Whether typed words name the part that a cause lies in."""

from kb.case.terms import Vocabulary


def names_part(words: Vocabulary, said: str, part: str) -> bool:
    """Say whether the words ``said``, in lower case, name ``part`` or the other way round."""
    names = {part, part.replace("_", " ")}
    if part in words.groups:
        names |= {words.groups[part].say, *words.groups[part].also}
    return any(name.lower() in said or said in name.lower() for name in names)


def concerns(words: Vocabulary, check: str, *, subject: str, part: str) -> bool:
    """Say whether a check on ``subject`` is about ``part``; one without a subject always is."""
    if words.checks[check].subject is None or not subject:
        return True
    return names_part(words, subject, part)
