"""The page for the bedside: `dosecheck serve`.

app.py puts it together: guard.py stands before every request (who may ask, how much, how long), site.py holds what all
pages share (the formulary as it stands now, the session's token, the journal), and each module of pages/ is one page:
it reads a form or JSON, calls one public function, and shows the answer.  forms.py reads what a browser sends, strictly;
render.py fills our templates.  Nothing of a child is kept unless the journal is switched on.
"""
