"""An attack on each form of each page: script in every field, no token, tampered choices."""

from tests.browser.conftest import DESKTOP

EVIL = '"\'><script>window.evil=1</script><img src=x onerror="window.evil=1"><b>'
# Fill every field of one form with script, its choices too, past what the browser would allow.
POISON = """([number, evil]) => {
  const form = [...document.forms].filter((one) => one.getAttribute('method') === 'post')[number];
  for (const field of form.elements) {
    if (['csrf_token', 'form_id', 'revision'].includes(field.name) || field.type === 'file') continue;
    if (field.tagName === 'BUTTON') continue;
    if (field.tagName === 'SELECT') { field.append(new Option(evil, evil)); }
    if (['radio', 'checkbox'].includes(field.type)) { field.checked = true; }
    if (field.type === 'hidden' || field.tagName !== 'INPUT' || field.type !== 'checkbox') field.value = evil;
  }
  HTMLFormElement.prototype.submit.call(form);
}"""
TOKENLESS = """async (number) => {
  const form = [...document.forms].filter((one) => one.getAttribute('method') === 'post')[number];
  const body = new FormData(form);
  body.delete('csrf_token');
  const answer = await fetch(form.getAttribute('action') || location.pathname, {method: 'POST', body});
  return answer.status;
}"""


def post_forms(page):
    return page.evaluate(
        "[...document.forms].filter((one) => one.getAttribute('method') === 'post').length"
    )


def attack(visitor, path, number):
    """Send one form full of script; return the status of what came, None where it is gone."""
    page = visitor.page
    visitor.open(path)
    if number >= post_forms(page):
        return None
    with page.expect_navigation():
        page.evaluate(POISON, [number, EVIL])
    assert not page.evaluate("window.evil"), (path, number)
    return page.evaluate("performance.getEntriesByType('navigation')[0].responseStatus")


def test_script_in_every_field_of_every_form_never_runs(visit, pages):
    visitor = visit(DESKTOP)
    answers = {}
    for path in pages:
        visitor.open(path)
        for number in range(post_forms(visitor.page)):
            answers[path, number] = attack(visitor, path, number)
    assert len(answers) >= 5
    assert [key for key, status in answers.items() if status and status >= 500] == []
    # What was taken stands on other pages now.
    for path in pages:
        visitor.open(path)
        assert not visitor.page.evaluate("window.evil"), path


def test_a_form_without_its_token_writes_nothing(visit, pages, shop):
    visitor = visit(DESKTOP)
    tried = {}
    for path in pages:
        visitor.open(path)
        before = shop.last_write()
        for number in range(post_forms(visitor.page)):
            tried[path, number] = visitor.page.evaluate(TOKENLESS, number)
        assert shop.last_write() == before
    assert len(tried) >= 5
    assert set(tried.values()) == {400}


TOKEN_OF = "document.querySelector('[name=csrf_token]').value"
SENT_BY = """async ([action, token]) => {
  const body = new URLSearchParams({csrf_token: token, text: 'x', name: 'x', role: 'owner'});
  const answer = await fetch(action, {method: 'POST', body});
  return answer.status;
}"""
# What everybody who is signed in may do: look after the own name and device, and leave.
OWN = ("/me", "/sign-out", "/sign-in", "/switch")


def test_a_viewer_who_sends_the_forms_of_others_is_refused(visit, pages, shop):
    owner, viewer = visit(DESKTOP), visit(DESKTOP, role="viewer")
    actions = set()
    for path in pages:
        owner.open(path)
        forms = "[...document.forms].filter((one) => one.getAttribute('method') === 'post')"
        actions |= set(
            owner.page.evaluate(
                f"{forms}.map((one) => one.getAttribute('action') || location.pathname)"
            )
        )
    viewer.open("/")
    token, before = viewer.page.evaluate(TOKEN_OF), shop.last_write()
    tried = {
        action: viewer.page.evaluate(SENT_BY, [action, token])
        for action in actions
        if not action.startswith(OWN)
    }
    assert len(tried) >= 15
    assert set(tried.values()) == {403}
    assert shop.last_write() == before
