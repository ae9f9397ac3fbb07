"""The pages for people: one tank's answer, the list of tanks, the cautions to print.

A page is the sentence first, the picture second, the table third. Everything on it comes from the
forecast; a withheld forecast has no date ahead, so that none can be shown. The pages load nothing
from another host and work without scripts.

Flow     store, use cases -> **pages** -> browser

===============  ====================================================================
`answer`         the addresses
`why`            why this date
`reference`      the API, for those who write programs
`sight`          what is known of a tank, gathered
`telling`        the same in words and rows, ready for the template
`charts`         the pictures
`templates`      `render` and the HTML
`setup`          setting a tank up in a few short pages; `setup_change` changes what was told there
`setup_form`     such a page as it is shown; `setup_place` finds a place, `setup_first` is what comes after
`sign_in`        signing in and up, invitations, new passwords
`accounts`       one's own account
`sharing`        who shares in a tank, keys of its machines
`pairing`        the phones of a home
`tell`           a form for each thing that people tell
`ordering`       prices, and how oil is ordered
`orders`         orders, reminders, silences, ways to be reached
`readings_file`  a file of readings, looked at before it is stored
`messages`       how a sensor's own messages are read
`uploads`        a file as a browser sends it
`forms`          a form as a browser sends it
`handing_out`    an archive to be saved, an address as a picture
`visit`          who reads a page, and where they may go
`refusals`       the pages for whoever is not let in
`files`          styles and fonts
===============  ====================================================================
"""

from fastapi import APIRouter

from api.pages import (
    accounts,
    answer,
    files,
    messages,
    ordering,
    orders,
    pairing,
    readings_file,
    reference,
    setup,
    setup_change,
    setup_first,
    sharing,
    sign_in,
    tell,
    why,
)

router = APIRouter(include_in_schema=False)
for part in (
    answer,
    why,
    setup,
    setup_change,
    setup_first,
    files,
    sign_in,
    accounts,
    sharing,
    pairing,
    tell,
    readings_file,
    messages,
    orders,
    ordering,
    reference,
):
    router.include_router(part.router)

__all__ = ["router"]
