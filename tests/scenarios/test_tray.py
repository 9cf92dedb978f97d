"""The tray's whole life: what stands in it or beside it at the start, what it has no room for, and how it fills."""


def test_kinds_that_the_order_leaves_out_are_left_and_the_errand_is_done(collect, small_bay):
    done = collect([small_bay.JAR, small_bay.FAR_JAR], keys={"order": ["amber"], "expect": None})
    assert done.ended == ("done", "all_in", 1)
    assert (done.result.left, done.result.objects, done.result.is_clean) == (0, 1, True)
