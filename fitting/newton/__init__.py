"""One engine for what a cup's curve tells: Newton's law in its integral form, with several sources.

``source`` says how the heat comes (poured at an instant, a heater for some time, nothing at all),
``rows`` holds the readings and the columns that every model is built from, ``walls`` what a wall
hides of the loss, ``covariance`` the errors of the readings, ``models`` what is known beforehand,
``average`` the solution, ``explain`` what its uncertainty is made of.
"""
