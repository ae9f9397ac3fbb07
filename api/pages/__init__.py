"""The pages for people: one tank's answer, the list of tanks, the cautions to print.

A page is the sentence first, the picture second, the table third. Everything on it comes from the
forecast; a withheld forecast has no date ahead, so that none can be shown. The pages load nothing
from another host and work without scripts.

Flow     store, use cases -> **pages** -> browser

==========  ===================================================================
`answer`    the addresses
`sight`     what is known of a tank, gathered
`telling`   the same in words and rows, ready for the template
`charts`    the pictures
`templates` `render` and the HTML
`files`     styles and fonts
==========  ===================================================================
"""

from fastapi import APIRouter

from api.pages import answer, files

router = APIRouter(include_in_schema=False)
for part in (answer, files):
    router.include_router(part.router)

__all__ = ["router"]
