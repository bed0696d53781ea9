"""A local page on which one person looks at pairs, paints, and decides.

`folder` finds the pairs, `session` keeps what is known and decided about them, `pictures` gives
each of their pictures an id, `pyramid` and `tiles` cut them for the screen, `preview` follows the
brush, `jobs` runs merges behind the page.  None of these knows HTTP; `app` puts them behind
addresses, `guard` lets in the opening address only, `serve` runs it all.
"""
