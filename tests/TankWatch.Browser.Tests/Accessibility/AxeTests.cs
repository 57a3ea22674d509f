using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;

namespace TankWatch.Browser.Tests.Accessibility;

public sealed class AxeTests(Chromium chromium, SharedDemo demo)
{
    public static TheoryData<string> Pages => [.. KnownPages.Names];

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task A_page_has_no_fault_that_axe_knows_in_light_dark_and_right_to_left_on_phone_and_desk(string page)
    {
        var service = await demo.ServiceAsync;
        await NoFaultsAsync(service.Url + await service.AddressAsync(page), Look.Phone.For(page));
    }

    [Fact]
    public async Task The_sign_in_page_has_no_fault_that_axe_knows()
    {
        await using var service = await RunningService.ServeAsync();
        await NoFaultsAsync(service.Url + "/", Look.Phone);
    }

    private async Task NoFaultsAsync(string address, Look phone)
    {
        var faults = new List<string>();
        foreach (var start in (Look[])[phone, phone with { RightToLeft = true }])
        {
            await chromium.VisitAsync(address, start, async visit =>
            {
                foreach (var look in start.RightToLeft ? InBothWidths(start) : InBothWidths(start).Concat(InBothWidths(start with { Dark = true })))
                {
                    await visit.LookAsync(look);
                    faults.AddRange((await visit.Page.AxeFaultsAsync()).Select(fault => $"{look}: {fault}"));
                }
            });
        }

        Assert.True(faults.Count == 0, string.Join('\n', faults.Prepend(address)));
    }

    private static IEnumerable<Look> InBothWidths(Look look) => [look, look with { Width = Look.Desk.Width, Height = Look.Desk.Height }];
}
