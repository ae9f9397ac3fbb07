"""Who may sign in, share a tank, make keys, pair phones, export and erase."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation


def _page(method: str, path: str, *relations: Relation) -> Row:
    """Make the row of a page that shows nothing of what is burned."""
    return Row(method, path, dict.fromkeys(relations, Grain.NONE), is_page=True)


ROWS = (
    # signing in and up, pairing: for whoever is not known yet
    _page("GET", "/sign-in", Relation.ANYONE),
    _page("POST", "/sign-in", Relation.ANYONE),
    _page("GET", "/sign-up", Relation.ANYONE),
    _page("POST", "/sign-up", Relation.ANYONE),
    _page("GET", "/invitation/{token}", Relation.ANYONE),
    _page("POST", "/invitation/{token}", Relation.ANYONE),
    _page("GET", "/new-password/{token}", Relation.ANYONE),
    _page("POST", "/new-password/{token}", Relation.ANYONE),
    _page("GET", "/pair", Relation.ANYONE),
    _page("POST", "/pair", Relation.ANYONE),
    # what is one's own
    _page("POST", "/sign-out", Relation.SELF),
    _page("POST", "/invitation/{token}/take", Relation.SELF),
    _page("GET", "/account", Relation.SELF),
    _page("POST", "/account/password", Relation.SELF),
    _page("POST", "/account/second-factor", Relation.SELF),
    _page("POST", "/account/second-factor/confirm", Relation.SELF),
    _page("POST", "/account/second-factor/drop", Relation.SELF),
    _page("POST", "/account/sessions/end-others", Relation.SELF),
    _page("POST", "/account/sessions/{session}/end", Relation.SELF),
    Row("GET", "/account/export", {Relation.SELF: Grain.NONE}, is_page=True),
    _page("POST", "/account/erase", Relation.SELF),
    # who shares in a tank, and its machines
    _page("GET", "/tanks/{tank}/sharing", Relation.OWNER),
    _page("POST", "/tanks/{tank}/sharing", Relation.OWNER),
    _page("POST", "/tanks/{tank}/sharing/{tie}/end", Relation.OWNER),
    _page("POST", "/tanks/{tank}/sharing/{tie}/accept", Relation.OWNER),
    _page("POST", "/tanks/{tank}/invitations/{invitation}/withdraw", Relation.OWNER),
    _page("POST", "/tanks/{tank}/leave", Relation.HOUSEHOLD, Relation.INSTALLER, Relation.DISTRIBUTOR),
    _page("GET", "/tanks/{tank}/keys", Relation.OWNER),
    _page("POST", "/tanks/{tank}/keys", Relation.OWNER),
    _page("POST", "/tanks/{tank}/keys/{key}/revoke", Relation.OWNER),
    Row("GET", "/tanks/{tank}/export", {Relation.OWNER: Grain.ANY}, is_page=True),
    _page("POST", "/tanks/{tank}/erase", Relation.OWNER),
    # the phones of a home, let in by whoever runs it
    _page("GET", "/phones", Relation.OPERATOR),
    _page("POST", "/phones/code", Relation.OPERATOR),
    _page("POST", "/phones/{session}/end", Relation.OPERATOR),
)
