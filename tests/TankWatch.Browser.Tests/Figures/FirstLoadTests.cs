using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;

namespace TankWatch.Browser.Tests.Figures;

public sealed class FirstLoadTests(Chromium chromium, SharedDemo demo)
{
    private const long Most = 60 * 1024;

    [Fact]
    public async Task The_first_load_of_all_buildings_is_at_most_60_kilobytes_with_styles_script_and_fonts()
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(null, Look.Phone, async visit =>
        {
            var load = await FirstLoad.OfAsync(visit.Page, service.Url + "/");
            Assert.Contains(load.Parts, part => part.Address.EndsWith(".woff2", StringComparison.Ordinal));
            Assert.True(load.Bytes <= Most, $"{load.Bytes} bytes: {string.Join(", ", load.Parts)}");
        });
    }
}
